// Package pages holds what all pages that the program writes share: one look, and templates that begin alike. A page is one
// file that needs no network.
package pages

import (
	_ "embed"
	"html/template"
)

//go:embed look.css
var look string

// head begins a page: {{template "head" .Title}} and then the page's own style, if it has one.
const head = `{{define "head"}}<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{.}}</title>
<style>
{{look}}</style>
{{end}}`

// New returns the template of a page. A text that can't be parsed is a programmer's mistake and panics.
func New(name, text string) *template.Template {
	t := template.New(name).Funcs(template.FuncMap{"look": func() template.CSS { return template.CSS(look) }})
	return template.Must(template.Must(t.Parse(head)).Parse(text))
}
