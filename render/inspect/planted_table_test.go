package inspect

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"
)

// plantedRows are those of the table of planted faults.
var plantedRows []string

// long asks for the table, for which each fault is looked at by all groups.
func long() bool { return os.Getenv("CATCHLIGHT_LONG") != "" }

// planted takes a fault that was looked at: the code that must find it, and how far from its place it was said to be, mm; below 0: it
// has none, or none was asked.
func planted(name, code string, least Severity, r *Report, off float64) {
	var found, others []string
	for _, f := range r.Findings {
		if f.Severity < Warning && f.Code != code || f.Severity == Fine {
			continue
		}
		text := fmt.Sprintf("%s %s", f.Severity, f.Code)
		if f.Code == code {
			if found == nil {
				found = append(found, f.Severity.String(), f.Title)
			}
		} else if !slices.Contains(others, text) {
			others = append(others, text)
		}
	}
	if found == nil {
		found = []string{"not found", ""}
	}
	place := ""
	if off >= 0 {
		place = fmt.Sprintf("%.2f", off)
	}
	plantedRows = append(plantedRows, fmt.Sprintf("| %s | %s | %s | %s | %s | %s | %s |", name, code, least, found[0], strings.ReplaceAll(found[1], "|", "/"), place, strings.Join(others, ", ")))
}

// With CATCHLIGHT_LONG set, the faults that were planted in a run of all tests named Planted go to a dated table.
func TestMain(m *testing.M) {
	code := m.Run()
	if long() && len(plantedRows) > 40 {
		found := 0
		for _, r := range plantedRows {
			if !strings.Contains(r, "| not found |") {
				found++
			}
		}
		text := fmt.Sprintf("Measured %s, %s, by\n`CATCHLIGHT_LONG=1 go test ./render/inspect -run Planted`\n\n%d faults planted by code, of which %d are found by the code that is to find them. Place: mm from where the fault was put\nto the finding's first place, of faults that have one place. Others: what else is an error or a warning, of all groups (shells, meshes and\ncoordinates), of maps, of pairs and of high and low meshes.\n\n| fault | code that is to find it | at least | rated | title | place | others |\n| --- | --- | --- | --- | --- | --- | --- |\n%s\n",
			time.Now().Format("2 January 2006"), runtime.Version(), len(plantedRows), found, strings.Join(plantedRows, "\n"))
		if err := os.WriteFile(filepath.Join("../../testdata/inspect", "planted-"+time.Now().Format("2006-01-02")+".md"), []byte(text), 0o666); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = 1
		}
	}
	os.Exit(code)
}
