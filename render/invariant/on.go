//go:build invariants

package invariant

// On says whether checks are compiled in.
const On = true
