package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"catchlight/render"
	"catchlight/render/changed"
	"catchlight/scene"
)

// reportOf reads the report beside a picture.
func reportOf(path string) (*report, error) {
	r := &report{}
	data, err := os.ReadFile(strings.TrimSuffix(path, filepath.Ext(path)) + ".json")
	if err == nil {
		err = json.Unmarshal(data, r)
	}
	if err == nil && r.Scene == "" {
		err = fmt.Errorf("it names no scene")
	}
	return r, err
}

// scenesKinds are the kinds of keys by which scenes are told to differ, and how they begin.
var scenesKinds = []struct {
	what string
	keys []string
}{
	{"the cameras differ", []string{"camera."}},
	{"the light set-ups differ", []string{"lights.", "light_setup."}},
	{"the scenes differ", []string{"objects.", "lids=", "effects.", "advanced."}},
}

// scenesDiffer says in one line by what two pictures are not of one scene: by the scenes of their reports where these are as they were,
// else by what reports and files say of them. It is "" where nothing is known to differ.
func scenesDiffer(old, new string, a, b *changed.Picture) string {
	var out []string
	for i, p := range []*changed.Picture{a, b} {
		if p.Attrs["relit"] != "" {
			out = append(out, fmt.Sprintf("the lights of %s were changed after its render", []string{old, new}[i]))
		}
	}
	if v, w := a.Attrs["primaries"], b.Attrs["primaries"]; v != w {
		out = append(out, fmt.Sprintf("the primaries differ (%s, was %s)", primariesOf(w), primariesOf(v)))
	}
	p, errP := reportOf(old)
	q, errQ := reportOf(new)
	if errP != nil || errQ != nil {
		if v, w := a.Attrs["scene"], b.Attrs["scene"]; v != w && v != "" && w != "" {
			out = append(out, fmt.Sprintf("the scenes differ (%s, was %s)", w, v))
		}
		return strings.Join(out, "; ")
	}
	if p.Identity.Scene == q.Identity.Scene && p.Identity.Scene != "" {
		return strings.Join(out, "; ")
	}
	before, err := keysThen(p)
	now, err2 := keysThen(q)
	if err == nil && err2 == nil {
		return strings.Join(append(out, keysDiffer(before, now)...), "; ")
	}
	return strings.Join(append(out, reportsDiffer(p, q)...), "; ")
}

// keysThen lists the keys of a report's scene where that is the same still.
func keysThen(r *report) ([]string, error) {
	d, err := r.scene()
	if err != nil {
		return nil, err
	}
	id, err := render.IdentityOf(d)
	if err != nil {
		return nil, err
	}
	if id.Scene != r.Identity.Scene {
		return nil, fmt.Errorf("%s is another scene by now", r.Scene)
	}
	return d.Keys()
}

// keysDiffer says which kinds of keys differ, and which of them.
func keysDiffer(before, now []string) (out []string) {
	for _, k := range scenesKinds {
		other := func(s string) bool {
			return !slices.ContainsFunc(k.keys, func(begin string) bool { return strings.HasPrefix(s, begin) })
		}
		if text := scene.Differing(slices.DeleteFunc(slices.Clone(now), other), slices.DeleteFunc(slices.Clone(before), other)); text != "" {
			out = append(out, fmt.Sprintf("%s (%s)", k.what, text))
		}
	}
	return out
}

// reportsDiffer compares what two reports say of their scenes, whose keys can't be compared.
func reportsDiffer(p, q *report) (out []string) {
	say := func(what, before, now string) {
		if before != now {
			out = append(out, fmt.Sprintf("%s differ (%s, was %s)", what, orNone(now), orNone(before)))
		}
	}
	say("the scenes", p.Scene, q.Scene)
	say("the light set-ups", p.Lights, q.Lights)
	picture := func(s string) bool { return strings.HasPrefix(strings.TrimSpace(s), "picture.") } // its size and grain, not what it shows
	say("the overrides", strings.Join(slices.DeleteFunc(slices.Clone(p.Overrides), picture), ", "),
		strings.Join(slices.DeleteFunc(slices.Clone(q.Overrides), picture), ", "))
	if len(out) == 0 && slices.Equal(p.Overrides, q.Overrides) && p.Seed == q.Seed {
		out = append(out, "the scenes differ ("+p.Scene+" was edited between the two renders, so by what can't be said)")
	}
	return out
}

// primariesOf is the name of primaries that a file says, which says nothing of Rec. 709.
func primariesOf(text string) string {
	if name, _, ok := strings.Cut(text, ":"); ok {
		return name
	}
	return "rec709"
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}
