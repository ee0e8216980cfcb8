// Package afar says how a picture looks from further away: it resamples linear light to what an observer resolves at a
// distance, and finds from where on two pictures can't be told apart.
package afar
