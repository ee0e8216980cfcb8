package main

import (
	"context"
	"fmt"

	"catchlight/render/inspect"
)

// join reads the other eye of a pair, or the base of a variant, beside s.
func (f *inspectFlags) join(ctx context.Context, s *inspect.Subject, args []string, report *reporter) error {
	other := f.mate + f.base // one of them is empty
	if other == "" {
		return nil
	}
	if s.Part(inspect.High) != nil {
		return usageError{fmt.Errorf("--mate and --base go with one eye, not with a high and a low mesh")}
	}
	q := *f
	q.page, q.side = "", ""
	if f.mate != "" && f.mate == args[0] { // both in one file
		switch q.side = "left"; s.Side {
		case "left":
			q.side = "right"
		case "":
			return usageError{fmt.Errorf("--mate %s: which eye of the file is looked at? say --side left or right", f.mate)}
		}
	}
	paths := []string{other}
	if f.mateMaps != "" {
		paths = append(paths, f.mateMaps)
	}
	o, _, err := inspected(ctx, paths, &q, report)
	if err != nil {
		return err
	}
	if o.Part(inspect.High) != nil {
		return usageError{fmt.Errorf("--mate-maps %s is no folder", f.mateMaps)}
	}
	s.Mate, s.Variant = o, f.base != ""
	return nil
}
