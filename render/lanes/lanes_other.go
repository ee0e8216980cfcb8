//go:build !amd64 || purego

package lanes

const useAVX2 = false

func exp4(*[4]float64) bool { return false }

func exp8(*[8]float64) bool { return false }

func exp12(*[12]float64) bool { return false }
