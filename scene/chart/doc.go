// Package chart knows the colours of a 24-patch colour chart, and makes reference objects, chart, grey ball and mirror
// ball, for any scene's light.
package chart
