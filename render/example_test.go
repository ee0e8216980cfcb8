package render_test

import (
	"context"
	"fmt"

	"catchlight/render"
	"catchlight/scene"
)

// A scene made in Go code, rendered to pixels without a file.
func Example() {
	d := scene.Default()
	d.Picture.Width, d.Picture.Height, d.Picture.Samples = 24, 24, 2
	d.Objects[0].Eye.MapSize = 64
	d.Objects[0].Eye.Iris.Pupil = 5
	p, err := render.Prepare(context.Background(), d, render.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	r, err := p.Render(context.Background(), render.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	m, err := r.Shown()
	if err != nil {
		fmt.Println(err)
		return
	}
	pupil, sclera := m.NRGBAAt(12, 12), m.NRGBAAt(4, 12)
	fmt.Println(m.Bounds(), "the pupil is darker than the sclera:", pupil.G < sclera.G/2)
	fmt.Println("texels of linear light:", r.Linear().Size())
	// Output:
	// (0,0)-(24,24) the pupil is darker than the sclera: true
	// texels of linear light: 576
}

// What is wrong in a description that was made in code is named by its key.
func ExamplePrepare_mistake() {
	d := scene.Default()
	d.Objects[0].Eye.Limbus.Width = 9
	_, err := render.Prepare(context.Background(), d, render.Options{})
	fmt.Println(err)
	// Output:
	// scene in code: objects.eye.limbus.width: 9 is outside [0.4, 2.5] mm
}
