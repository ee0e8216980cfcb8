package page

import (
	"bytes"
	"catchlight/scene/pages"
	_ "embed"
	"encoding/base64"
	"fmt"
)

// Look is one row of frames of a player.
type Look struct {
	Name   string
	Frames [][]byte // PNG files, all of one size
}

// Player is a page that turns frames by drag, keys and play, and blinks between looks that have the same frames.
type Player struct {
	Title         string
	Width, Height int
	Delay         int      // of a frame, ms
	Captions      []string // of the frames
	Looks         []Look
	Notes         []string
	Poster        int       // frame that is shown first
	Beside        bool      // two looks may be shown side by side
	Lamps         []Lamp    // where the lights stand; none: no dome
	Turned        []float64 // by frame: how far the lights are turned about +Y, degrees; nil: they stand still
}

// Lamp is a light as an eye has it.
type Lamp struct {
	Name  string     `json:"name"`
	Dir   [3]float64 `json:"dir"`   // toward it; +Z is toward the viewer, +Y up
	Share float64    `json:"share"` // of all light, in [0, 1]
	Even  bool       `json:"even"`  // it comes from all around
}

//go:embed player.html
var playerText string

var playerPage = pages.New("player", playerText)

// HTML returns the page as one file that needs no other and no network.
func (p *Player) HTML() ([]byte, error) {
	type look struct {
		Name   string   `json:"name"`
		Frames []string `json:"frames"`
	}
	var looks []look
	for _, l := range p.Looks {
		if len(l.Frames) != len(p.Captions) {
			return nil, fmt.Errorf("page: look %s has %d frames for %d captions", l.Name, len(l.Frames), len(p.Captions))
		}
		out := look{Name: l.Name}
		for _, f := range l.Frames {
			out.Frames = append(out.Frames, "data:image/png;base64,"+base64.StdEncoding.EncodeToString(f))
		}
		looks = append(looks, out)
	}
	if p.Poster < 0 || p.Poster >= len(p.Captions) {
		return nil, fmt.Errorf("page: the poster is frame %d of %d", p.Poster, len(p.Captions))
	}
	if p.Turned != nil && len(p.Turned) != len(p.Captions) {
		return nil, fmt.Errorf("page: %d turns of the lights for %d frames", len(p.Turned), len(p.Captions))
	}
	lamps := append([]Lamp{}, p.Lamps...)
	var b bytes.Buffer
	err := playerPage.Execute(&b, map[string]any{
		"Title": p.Title, "Width": p.Width, "Height": p.Height, "Notes": p.Notes, "Blink": len(looks) > 1,
		"Beside": p.Beside && len(looks) > 1, "Dome": len(lamps) > 0,
		"Data": map[string]any{"delay": p.Delay, "captions": p.Captions, "looks": looks, "poster": p.Poster, "lamps": lamps, "turned": p.Turned},
	})
	return b.Bytes(), err
}
