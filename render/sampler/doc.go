// Package sampler gives the numbers in (0, 1) that a path is made of.
//
// Every number is a pure function of the seed, the pixel, the replicate, the sample's index, the vertex along the
// path, a named purpose and a salt. Nothing counts: switching a light or an effect on or off moves no other number,
// and the order in which workers run cannot matter.
//
// Points come in padded sets of four dimensions: a Sobol sequence whose index is shuffled and whose dimensions are
// scrambled by nested uniform (Owen) scrambles, with fresh hashes for each set. Over the sample index, 0 to 2^k - 1 of
// one set is a digital net: every elementary interval that should hold one point holds one. Sets with different
// keys are independent of each other. Long random walks, where nets no longer help, take a Stream instead.
//
// Replicates are eight parts of one net of a pixel, each of them a net too. The variance of the mean of all is at most an eighth
// of that of one replicate, which their spread tells; the spread of the points inside a replicate would tell far too much.
//
// Sources: Burley, Practical Hash-based Owen Scrambling, JCGT 9(4), 2020; Laine and Karras, Stratified Sampling for
// Stochastic Transparency, EGSR 2011; Owen, Randomly Permuted (t,m,s)-Nets and (t,s)-Sequences, 1995.
package sampler
