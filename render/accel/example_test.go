package accel_test

import (
	"fmt"
	"math"

	"catchlight/render/accel"
	"catchlight/scene/geom"
)

func ExampleBuild() {
	p := []geom.Vec{{}, {X: 4}, {Y: 4}}
	b, err := accel.Build(p, [][3]uint32{{0, 1, 2}}, accel.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	s := accel.NewScratch() // one for each worker
	var h accel.Hit
	if b.Closest(s, geom.Vec{X: 1, Y: 2, Z: 10}, geom.Vec{Z: -2}, 0, math.Inf(1), &h) {
		fmt.Println(h.T, h.U, h.V, h.Prim)
	}
	// Output: 5 0.25 0.5 0
}
