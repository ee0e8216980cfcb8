// Package adopt looks at an eye that an artist brings - one file of meshes and a folder of pictures - and proposes a
// scene for it: which mesh is the outer and which the inner shell, unit and size, optical axis, pupil, side, and which
// picture is which map. It measures first and reads names second, and gives each guess a reason; what it is not sure of
// it says, and two answers to one question are left as a question.
//
// It changes nothing of the artist's and picks nothing silently: a Proposal is a list of findings and a scene text.
package adopt
