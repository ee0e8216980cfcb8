//go:build !amd64 || purego

package accel

const useAVX2 = false

func closestAVX2(k *kargs) { closestGo(k) }

func occludedAVX2(k *kargs) bool { return occludedGo(k) }
