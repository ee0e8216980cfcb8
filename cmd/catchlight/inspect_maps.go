package main

import (
	"strings"

	"catchlight/render/inspect"
	"catchlight/scene"
)

// sceneMaps lists the pictures that a scene lays on an eye.
func sceneMaps(e *scene.Eye) (list []inspect.Map) {
	add := func(m inspect.Map, file scene.Path) {
		if m.File = string(file); m.File == "" {
			return
		}
		if strings.Contains(m.File, "{tile}") {
			m.File = strings.ReplaceAll(m.File, "{tile}", "1001")
			m.Role = inspect.Other // a tile of a set: it is not laid on the shell
		}
		list = append(list, m)
	}
	colour := func(key string, s *scene.MapSpec) {
		role := inspect.Inner
		if s.Shell == "outer" {
			role = inspect.Outer
		}
		add(inspect.Map{Key: key, Role: role, Colour: true, Linear: strings.HasPrefix(s.Space, "linear")}, s.File)
	}
	normal := func(key string, role inspect.Role, n *scene.NormalMap) {
		if n != nil {
			add(inspect.Map{Key: key, Role: role, GreenDown: n.Green == "down"}, n.File)
		}
	}
	height := func(key string, role inspect.Role, h *scene.HeightMap) {
		if h != nil {
			add(inspect.Map{Key: key, Role: role, Mid: h.ZeroLevel, MM: h.Scale}, h.File)
		}
	}
	colour("iris.colour", &e.Iris.Colour)
	colour("sclera.colour", &e.Sclera.Colour)
	normal("cornea.normal", inspect.Outer, e.Cornea.Normal)
	normal("iris.normal", inspect.Inner, e.Iris.Normal)
	height("cornea.height", inspect.Outer, e.Cornea.Height)
	height("iris.height", inspect.Inner, e.Iris.Height)
	return list
}
