package imageio

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Every broken file does what its manifest says. Warnings about use as an environment come from LatLong.
func TestBrokenFiles(t *testing.T) {
	about := map[string]string{ // what a message must speak of, where the manifest is precise
		"hdr_truncated.hdr": "the file ends", "hdr_bad_rle.hdr": "run of 127", "hdr_huge_dims.hdr": "200000 x 100000",
		"hdr_not_2to1.hdr": "2:1", "hdr_all_black.hdr": "black", "hdr_pointer_text.hdr": "pointer", "exr_header_only.exr": "0 bytes",
		"exr_negative.exr": "-2306", "exr_dwa.exr": "DWAB", "png_bomb.png": "60000 x 60000",
	}
	for _, dir := range []string{"../../testdata/images/broken", "../../testdata/images/broken/openexr_damaged"} {
		manifest, err := os.ReadFile(filepath.Join(dir, "manifest.tsv"))
		if err != nil {
			t.Fatal(err)
		}
		rows := strings.Split(strings.TrimSpace(string(manifest)), "\n")[1:]
		if len(rows) < 10 {
			t.Fatalf("%s lists %d files", dir, len(rows))
		}
		for _, row := range rows {
			f := strings.Split(row, "\t")
			t.Run(f[0], func(t *testing.T) {
				p, err := Read(filepath.Join(dir, f[0]))
				said := ""
				switch f[2] {
				case "clear error":
					var fe *FormatError
					var ue *UnsupportedError
					if !errors.As(err, &fe) && !errors.As(err, &ue) {
						t.Fatalf("%s: got %v, want an error of this package", f[3], err)
					}
					said = err.Error()
				case "warn and continue":
					if err != nil {
						t.Fatal(err)
					}
					said = strings.Join(append(p.Notes, p.LatLong()...), "; ")
				default:
					t.Fatalf("the manifest asks for %q", f[2])
				}
				if said == "" || !strings.Contains(said, about[f[0]]) {
					t.Errorf("%s: said %q, want something about %q", f[3], said, about[f[0]])
				}
			})
		}
	}
}
