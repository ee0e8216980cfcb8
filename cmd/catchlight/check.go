package main

import (
	"errors"
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"catchlight/scene/imageio"
)

// checkCommand says in numbers whether a picture is sound.
func checkCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "check-picture FILE",
		Short: "Say a picture's mean, range, clipped and non-finite shares; fails if it is black, blown out or not finite",
		Args:  exactly(1, "one picture is needed"),
		RunE: func(cmd *cobra.Command, args []string) error {
			pic, err := imageio.Read(args[0])
			if err != nil {
				return err
			}
			if err := pic.Plain(false); err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			planes := pic.RGB()
			n := float64(3 * pic.W * pic.H)
			var sum, bad, clipped float64
			lo, hi := math.Inf(1), math.Inf(-1)
			for _, p := range planes {
				for _, v := range p {
					x := float64(v)
					if math.IsNaN(x) || math.IsInf(x, 0) {
						bad++
						continue
					}
					sum += x
					lo, hi = min(lo, x), max(hi, x)
					if pic.Encoded && x >= 1 {
						clipped++
					}
				}
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s: %d x %d, mean %.4g, range %.4g to %.4g, clipped %.2f %%, not finite %g\n",
				args[0], pic.W, pic.H, sum/n, lo, hi, 100*clipped/n, bad)
			switch {
			case bad > 0:
				return errors.New("the picture holds values that are not finite")
			case hi-lo < 1e-3:
				return errors.New("the picture is of one value")
			case pic.Encoded && sum/n < 0.01:
				return errors.New("the picture is black")
			case pic.Encoded && clipped/n > 0.25:
				return errors.New("the picture is blown out")
			}
			return nil
		},
	}
}
