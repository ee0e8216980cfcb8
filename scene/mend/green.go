package mend

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"catchlight/scene/imageio"
)

// Green writes a copy of a normal map with its green channel turned over: code c becomes 255 - c, or 65535 - c, so that nothing is
// rounded. It takes .png of 8 and 16 bits.
func Green(src, dst string) (did string, err error) {
	if end := strings.ToLower(filepath.Ext(src)); end != ".png" || strings.ToLower(filepath.Ext(dst)) != end {
		return "", fmt.Errorf("%s: the green of a .png alone can be turned over, into a .png", src)
	}
	p, err := imageio.Read(src)
	if err != nil {
		return "", err
	}
	channels := []string{"R", "G", "B"}
	if p.Channel("A") != nil {
		channels = append(channels, "A")
	}
	if !slices.Contains(p.Names, "G") {
		return "", fmt.Errorf("%s: has no green channel", src)
	}
	n, c := p.W*p.H, len(channels)
	most := 255.0
	if p.Depth == 16 {
		most = 65535
	}
	codes := make([]uint16, n*c)
	for k, name := range channels {
		plane := p.Channel(name)
		for i := range n {
			v := math.Round(float64(plane[i]) * most)
			if name == "G" {
				v = most - v
			}
			codes[i*c+k] = uint16(v)
		}
	}
	if p.Depth == 16 {
		err = imageio.WritePNG16(dst, p.W, p.H, c, codes, nil)
	} else {
		pix := make([]uint8, len(codes))
		for i, v := range codes {
			pix[i] = uint8(v)
		}
		err = imageio.WritePNG(dst, p.W, p.H, c, pix, nil)
	}
	return fmt.Sprintf("the green channel of %s is turned over", filepath.Base(src)), err
}
