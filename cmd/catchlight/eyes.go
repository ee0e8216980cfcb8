package main

import (
	"catchlight/render/prepare"
	"catchlight/scene"
	"fmt"
	"slices"
)

// eyes returns the names of a scene's eyes.
func eyes(d *scene.Description) ([]string, error) {
	var out []string
	for i := range d.Objects {
		if d.Objects[i].Shape == "eye" && d.Objects[i].On {
			out = append(out, d.Objects[i].Name)
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%s: the scene has no eye", d.File)
	}
	return out, nil
}

// lookEyes returns overrides that let each eye look elsewhere by an azimuth and an elevation in degrees, on top of where it
// looks. A bare eye is turned as it stands; one with lids, a gaze or a partner turns within its lids.
func lookEyes(d *scene.Description, azimuth, elevation float64) ([]string, error) {
	all, err := turnEyes(d, azimuth, elevation)
	if err != nil {
		return nil, err
	}
	var sets []string
	for i := range d.Objects {
		b := &d.Objects[i]
		if b.Shape != "eye" || !b.On {
			continue
		}
		turned := all[0]
		all = all[1:]
		if b.Gaze == nil && b.Pair == 0 && d.LidsOf(b) == nil {
			sets = append(sets, turned)
			continue
		}
		at := "objects." + b.Name + ".gaze."
		az, el := azimuth, elevation
		switch g := b.Gaze; {
		case g == nil && b.Pair == 0:
			sets = append(sets, at+"kappa=0") // its optical axis stood ahead
		case g != nil && g.Target != nil:
			a, e := prepare.LooksAlong(b)
			az, el = az+a, el+e
			sets = append(sets, at+"target=null")
		case g != nil:
			az, el = az+g.Azimuth, el+g.Elevation
		}
		sets = append(sets, fmt.Sprintf("%sazimuth=%.10g", at, az), fmt.Sprintf("%selevation=%.10g", at, el))
	}
	return sets, nil
}

// turnEyes returns overrides that turn each eye as it stands, with its lids, by an azimuth and an elevation in degrees.
func turnEyes(d *scene.Description, azimuth, elevation float64) ([]string, error) {
	names, err := eyes(d)
	if err != nil {
		return nil, err
	}
	var sets []string
	for i := range d.Objects {
		b := &d.Objects[i]
		if slices.Contains(names, b.Name) {
			r := b.Transform.Rotate
			sets = append(sets, fmt.Sprintf("objects.%s.transform.rotate=[%.10g, %.10g, %.10g]", b.Name, r.X-elevation, r.Y+azimuth, r.Z))
		}
	}
	return sets, nil
}

// pupilEyes returns overrides that set each eye's pupil, in mm across.
func pupilEyes(d *scene.Description, mm float64) ([]string, error) {
	names, err := eyes(d)
	var sets []string
	for _, n := range names {
		sets = append(sets, fmt.Sprintf("objects.%s.iris.pupil=%.10g", n, mm))
	}
	return sets, err
}
