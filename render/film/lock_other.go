//go:build !(linux || darwin || freebsd)

package film

import "os"

// lockFile can't lock on this system.
func lockFile(*os.File, bool) error { return nil }
