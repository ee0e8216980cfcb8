package accel

func kernels() []string { return []string{"go"} }

func selectKernel(string) func() { return func() {} }
