package frozen

import (
	"go/ast"
	"go/parser"
	"go/token"
	"testing"

	"github.com/stretchr/testify/require"
)

// parsed returns the syntax of a file of this folder or of one beside it.
func parsed(t *testing.T, file string) *ast.File {
	t.Helper()
	f, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
	require.NoError(t, err)
	return f
}

// kinds returns the names of all kinds of materials, as scene.go declares them.
func kinds(t *testing.T) (names []string) {
	for _, d := range parsed(t, "scene.go").Decls {
		g, ok := d.(*ast.GenDecl)
		if !ok || g.Tok != token.CONST {
			continue
		}
		if typ, ok := g.Specs[0].(*ast.ValueSpec).Type.(*ast.Ident); !ok || typ.Name != "Kind" {
			continue
		}
		for _, s := range g.Specs {
			names = append(names, s.(*ast.ValueSpec).Names[0].Name)
		}
	}
	return names
}

// named adds to in the names X of all frozen.X in a piece of syntax.
func named(n ast.Node, in map[string]bool) {
	ast.Inspect(n, func(n ast.Node) bool {
		if s, ok := n.(*ast.SelectorExpr); ok {
			if p, ok := s.X.(*ast.Ident); ok && p.Name == "frozen" {
				in[s.Sel.Name] = true
			}
		}
		return true
	})
}

// cases adds to in the names X of all frozen.X for which a function has a case.
func cases(t *testing.T, file, function string, in map[string]bool) {
	ast.Inspect(body(t, file, function), func(n ast.Node) bool {
		if c, ok := n.(*ast.CaseClause); ok {
			for _, e := range c.List {
				named(e, in)
			}
		}
		return true
	})
}

func body(t *testing.T, file, function string) ast.Node {
	t.Helper()
	for _, d := range parsed(t, file).Decls {
		if f, ok := d.(*ast.FuncDecl); ok && f.Name.Name == function {
			return f.Body
		}
	}
	require.Fail(t, "no such function", "%s in %s", function, file)
	return nil
}

// A kind of material that one of the two renderers forgot would be black there. So each has a case where paths meet it, and
// in the raster look one where its tables are made and one where it is shaded, unless it is not drawn as a solid: it is left
// out, or light passes it.
func TestEveryKindHasACase(t *testing.T) {
	all := kinds(t)
	require.Len(t, kindNames, len(all), "each kind has its name for messages")
	follow, tables, shaded := map[string]bool{}, map[string]bool{}, map[string]bool{}
	cases(t, "../pathtrace/follow.go", "follow", follow)
	cases(t, "../raster/look.go", "tabulate", tables)
	cases(t, "../raster/look.go", "shade", shaded)
	cases(t, "../raster/look.go", "shapes", shaded)
	named(body(t, "../raster/shadow.go", "letsThrough"), shaded)
	for _, k := range all {
		require.True(t, follow[k], "the path tracer's follow has no case for %s", k)
		require.True(t, tables[k], "the raster look's tabulate has no case for %s", k)
		require.True(t, shaded[k], "the raster look's shade has no case for %s, and it is drawn", k)
	}
}
