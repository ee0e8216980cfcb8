package cmd

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
)

// mostLines is how long a function may be, from its first line to its last, without a reason.
const mostLines = 80

// tooLong returns the functions of a file that are longer than that and whose comment gives no reason after "Long:".
func tooLong(name string, src any) (out []string, err error) {
	set := token.NewFileSet()
	f, err := parser.ParseFile(set, name, src, parser.ParseComments)
	if err != nil {
		return nil, err
	}
	for _, d := range f.Decls {
		fn, ok := d.(*ast.FuncDecl)
		if !ok || set.Position(fn.End()).Line-set.Position(fn.Pos()).Line < mostLines {
			continue
		}
		if _, reason, ok := strings.Cut(fn.Doc.Text(), "Long:"); !ok || strings.TrimSpace(reason) == "" {
			out = append(out, fn.Name.Name)
		}
	}
	return out, nil
}

// No function is longer than 80 lines without a reason in its comment.
func TestFunctionsAreShort(t *testing.T) {
	files := 0
	err := filepath.WalkDir("..", func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() || !strings.HasSuffix(path, ".go") {
			return err
		}
		files++
		long, err := tooLong(path, nil)
		for _, name := range long {
			t.Errorf("%s: %s has more than %d lines and no reason after \"Long:\" in its comment", path, name, mostLines)
		}
		return err
	})
	if err != nil || files < 50 {
		t.Fatalf("%d files read, error %v", files, err)
	}
}

// The rule finds what it is there to find: 81 lines do not pass, 80 do, and so do 81 with a reason.
func TestTooLong(t *testing.T) {
	body := func(comment string, lines int) string {
		return "package reed\n\n" + comment + "func cut() {" + strings.Repeat("\n", lines-1) + "}\n"
	}
	for _, c := range []struct {
		src  string
		want int
	}{
		{body("", mostLines), 0}, {body("", mostLines+1), 1}, {body("// cut cuts. Long:\n", mostLines+1), 1},
		{body("// cut cuts. Long: one table of reeds.\n", mostLines+1), 0},
	} {
		if got, err := tooLong("reed.go", c.src); err != nil || len(got) != c.want {
			t.Errorf("%d lines: %v, %v", strings.Count(c.src, "\n"), got, err)
		}
	}
}
