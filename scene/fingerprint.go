package scene

import (
	"catchlight/scene/builtin"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Fingerprint hashes all that the description says, and the contents of the files that it names instead of their
// places, so that the same scene in another folder has the same one. The line about the scene does not count. It is 64
// hexadecimal digits of SHA-256.
func (d *Description) Fingerprint() (string, error) {
	c := *d
	c.About, c.File, c.source = "", "", nil
	c.Raster.Budget = "" // its keys are in Raster
	text, err := json.Marshal(&c)
	if err != nil {
		return "", fmt.Errorf("%s: fingerprint: %w", d.File, err)
	}
	sum := sha256.New()
	var swap []string
	for _, f := range c.named() {
		if f == "" {
			continue
		}
		h, err := builtin.Hash(f)
		if err != nil {
			return "", fmt.Errorf("%s: fingerprint: %w", d.File, err)
		}
		swap = append(swap, quoted(f), `"`+h+`"`)
		fmt.Fprintln(sum, h)
	}
	// Sets of tiles stand by their numbers; their files are hashed above.
	for _, p := range c.paths() {
		if tiles, _ := TileFiles(p); len(tiles) > 0 {
			swap = append(swap, quoted(string(p)), fmt.Sprintf("%q", fmt.Sprint("tiles ", slices.Sorted(maps.Keys(tiles)))))
		}
	}
	_, err = strings.NewReplacer(swap...).WriteString(sum, string(text))
	return hex.EncodeToString(sum.Sum(nil)), err
}

func quoted(s string) string {
	b, _ := json.Marshal(s) // a string always has a form
	return string(b)
}
