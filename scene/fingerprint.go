package scene

import (
	"catchlight/scene/builtin"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// Fingerprint hashes all that the description says, and the contents of the files that it names instead of their
// places, so that the same scene in another folder has the same one. The line about the scene does not count. It is 64
// hexadecimal digits of SHA-256.
func (d *Description) Fingerprint() (string, error) {
	c := *d
	c.About, c.File, c.source = "", "", nil
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
		h, err := HashFile(f)
		if err != nil {
			return "", fmt.Errorf("%s: fingerprint: %w", d.File, err)
		}
		swap = append(swap, quoted(f), `"`+h+`"`)
		fmt.Fprintln(sum, h)
	}
	// What is left of folders belongs to sets of tiles, whose files are hashed above.
	folder := quoted(filepath.Dir(d.File) + string(filepath.Separator))
	swap = append(swap, strings.TrimSuffix(folder, `"`), `"`)
	_, err = strings.NewReplacer(swap...).WriteString(sum, string(text))
	return hex.EncodeToString(sum.Sum(nil)), err
}

func quoted(s string) string {
	b, _ := json.Marshal(s) // a string always has a form
	return string(b)
}

// HashFile returns the SHA-256 of the bytes of a file, or of one that the program brings, in hexadecimal digits.
func HashFile(path string) (string, error) {
	if data, ok := builtin.Read(path); ok {
		sum := sha256.Sum256(data)
		return hex.EncodeToString(sum[:]), nil
	}
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
