// Package live holds the page on which a scene is changed and seen at once: plain HTML, CSS and script, nothing from outside.
package live

import "embed"

// Files are what the server hands out as they are.
//
//go:embed index.html live.css eye.svg *.js
var Files embed.FS
