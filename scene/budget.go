package scene

import (
	"embed"
	"path"
	"path/filepath"
	"slices"
	"strings"
)

// budgets are the budgets that come with the program.
//
//go:embed budgets/*.yaml
var budgets embed.FS

// Budgets returns the names of the budgets of the raster look that come with the program.
func Budgets() []string {
	list, _ := budgets.ReadDir("budgets") // embedded: it is there
	var out []string
	for _, e := range list {
		out = append(out, strings.TrimSuffix(e.Name(), ".yaml"))
	}
	slices.Sort(out)
	return out
}

// BudgetText returns the text of such a budget, or "" where there is none of that name.
func BudgetText(name string) string {
	data, err := budgets.ReadFile(path.Join("budgets", name+".yaml"))
	if err != nil {
		return ""
	}
	return string(data)
}

// budget lays the keys of the raster look's budget beneath those that the scene gives itself, and returns the tree with them.
func (d *decoder) budget(tree *node) *node {
	raster := tree.get("raster")
	name := raster.get("budget")
	if name == nil || name.kind != scalarNode || name.text == "" {
		return tree // the rest is told where keys are checked
	}
	file, data := name.text, []byte(BudgetText(name.text))
	if len(data) == 0 {
		if filepath.Ext(file) != ".yaml" {
			d.add(name.at, "raster.budget", file, "is none of %s, nor a file that ends in .yaml", strings.Join(Budgets(), ", "))
			return tree
		}
		if !filepath.IsAbs(file) {
			file = filepath.Join(d.folder, file)
		}
		var err error
		if data, err = readCapped(file); err != nil {
			d.add(name.at, "raster.budget", name.text, "cannot be read: %s", cause(err))
			return tree
		}
		d.use(name, file)
	}
	budget, problems := parseTree(data, place{file: file}, false)
	if len(problems) > 0 {
		d.problems = append(d.problems, problems...)
		return tree
	}
	merged := *raster
	merged.entries = slices.Clone(raster.entries)
	for _, e := range budget.list() {
		if e.key == "budget" {
			d.add(e.at, "budget", "", "a budget can't rest on another one")
		} else if raster.get(e.key) == nil {
			merged.entries = append(merged.entries, e)
		}
	}
	out := *tree
	out.entries = slices.Clone(tree.entries)
	for i := range out.entries {
		if out.entries[i].key == "raster" {
			out.entries[i].value = &merged
			break
		}
	}
	return &out
}

// BudgetFile returns the file of the raster look's budget, or "" where it comes with the program or there is none.
func (d *Description) BudgetFile() string {
	name := d.Raster.Budget
	if name == "" || BudgetText(name) != "" {
		return ""
	}
	if !filepath.IsAbs(name) {
		name = filepath.Join(filepath.Dir(d.File), name)
	}
	return name
}
