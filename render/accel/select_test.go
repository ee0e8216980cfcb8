//go:build !amd64 || purego

package accel

func kernels() []string { return []string{"go"} }

// selectKernel has nothing to choose from here.
func selectKernel(string) func() { return func() {} }
