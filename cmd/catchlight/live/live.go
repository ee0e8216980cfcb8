// Package live holds the files of the page that `watch` serves. They load nothing from outside.
package live

import "embed"

// Files are the page's: index.html and what it names.
//
//go:embed *.html
var Files embed.FS
