package main

import (
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"catchlight/render"
	"catchlight/render/bake"
	"catchlight/render/imgcmp"
	"catchlight/render/job"
	"catchlight/render/page"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// proofName is the page of the proof.
const proofName = "proof.png"

// proving is a proof of one set under way.
type proving struct {
	*baking
	w      *bake.Work
	dir    string // of the scenes, for a while
	relay  *bake.Relay
	truth  *bake.Truth
	normal texture.Map
	height texture.Map

	normalFile string // of the map; empty where the renderer can't read it
	zero       float64
	scale      float64 // 0: there is no map of heights
	box        geom.Box
	width      float64 // mm of the picture
}

// proofs are those of all sets.
func (b *baking) proofs(ctx context.Context, j *job.Job, works []*bake.Work) error {
	killed, _ := filepath.Glob(filepath.Join(b.out, "planes", "proof*")) // what a killed run left; the folder is ours alone
	for _, k := range killed {
		os.RemoveAll(k)
	}
	dir, err := os.MkdirTemp(filepath.Join(b.out, "planes"), "proof")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	var rows []*proofRow
	b.report.Proof = nil
	for i, w := range works {
		b.progress.Phase("proof under light: " + strings.Join(b.report.Sets[i].Low, ", "))
		p := &proving{baking: b, w: w, dir: dir}
		if err := p.open(); err != nil {
			return err
		}
		row, err := p.prove(ctx, b.sets[i])
		if err != nil {
			return err
		}
		rows = append(rows, row)
		b.report.Proof = append(b.report.Proof, row.Proof)
		b.progress.done()
		b.tellProof(&row.Proof)
	}
	pg := b.proofPage(rows)
	data, err := pg.PNG()
	if err != nil {
		return err
	}
	if err := writeBytes(j.Path(proofName), data); err != nil {
		return err
	}
	fmt.Fprintf(b.stdout, "wrote %s\n", j.Path(proofName))
	return writeJSON(j.Path(bake.ReportName), &b.report)
}

// open reads the maps back from their files.
func (p *proving) open() (err error) {
	load := func(name string) (m texture.Map, f *bake.File, err error) {
		tiles := map[int]*texture.Image{}
		for i := range p.report.Files {
			q := &p.report.Files[i]
			if q.Map != name || q.Set != p.w.Name {
				continue
			}
			im, _, err := imageio.ReadTexture(filepath.Join(p.out, q.Name), imageio.As{})
			if err != nil {
				return m, nil, err
			}
			tiles[q.Tile], f = im, q
		}
		switch {
		case len(tiles) == 0:
			return m, nil, nil
		case len(tiles) == 1 && tiles[texture.FirstTile] != nil:
			return texture.FromImage(tiles[texture.FirstTile], texture.Clamp), f, nil
		}
		set, err := texture.NewTiles(tiles)
		return texture.FromTiles(set), f, err
	}
	var f *bake.File
	if p.normal, f, err = load("normal"); err != nil {
		return err
	}
	if f == nil {
		return usageError{errors.New("--proof: there is no map normal in the folder to show; leave it in --maps")}
	}
	if f.Bits == 32 { // what is stored is the component itself
		p.normal = p.normal.Scaled(0.5, 0.5)
	} else if p.normalFile, err = filepath.Abs(filepath.Join(p.out, f.Path(p.w.Name, f.Tile, len(p.w.Tiles) > 1))); err != nil {
		return err
	}
	if len(p.w.Tiles) > 1 {
		p.normalFile = strings.Replace(p.normalFile, fmt.Sprintf(".%d.png", f.Tile), ".{tile}.png", 1)
	}
	if p.green == "down" {
		p.normal = p.normal.GreenDown()
	}
	if p.height, f, err = load("height"); err != nil {
		return err
	}
	switch {
	case f == nil || len(p.w.Passes) > 1: // heights against a subdivided mesh are none of the facets that are shown here
	case f.Zero != nil:
		p.zero, p.scale = *f.Zero, *f.Scale
	default:
		p.scale = 1
	}
	return nil
}

// The pictures of a proof.
const (
	ofHigh = iota
	withMaps
	normalExact
	heightExact
	bothExact
	normalAlone
	otherSeed
	proofPictures
)

// proofRow is what a page shows of a set.
type proofRow struct {
	bake.Proof
	picture [proofPictures]*image.NRGBA
	flip    []float64
}

// prove renders and compares.
func (p *proving) prove(ctx context.Context, s *bake.Set) (*proofRow, error) {
	base := p.w.Passes[0].Bake.Low
	p.box = base.Mesh.Bounds()
	size := p.box.Size()
	p.width = 1.06 * max(size.X, size.Y)
	area := 0.0
	for _, t := range base.Mesh.Tri {
		area += base.Mesh.P[t[1]].Sub(base.Mesh.P[t[0]]).Cross(base.Mesh.P[t[2]].Sub(base.Mesh.P[t[0]])).Len() / 2
	}
	const most = 1.2e6 // triangles
	edge := max(0.7*p.width/float64(p.proofSize), math.Sqrt(2.3*area/most))
	p.relay = base.Cut(edge)
	p.truth = p.w.Passes[0].Bake.Truth(p.relay)
	row := &proofRow{Proof: bake.Proof{Set: p.w.Name, Light: p.proof, Edge: edge}}
	p.values(&row.Proof)
	high, err := p.write("high", p.merged(s.High))
	if err != nil {
		return nil, err
	}
	list := []struct {
		at   int
		p, n int // from: 0 the map, 1 the truth, 2 the facets alone
	}{{withMaps, 0, 0}, {normalExact, 0, 1}, {heightExact, 1, 0}, {bothExact, 1, 1}}
	if p.normalFile == "" {
		list = append(list, struct{ at, p, n int }{normalAlone, 2, 0})
	} else if row.picture[normalAlone], err = p.plain(ctx, base.Mesh); err != nil {
		return nil, err
	}
	if row.picture[ofHigh], err = p.render(ctx, high, 1, ""); err != nil {
		return nil, err
	}
	if row.picture[otherSeed], err = p.render(ctx, high, 2, ""); err != nil {
		return nil, err
	}
	for i, q := range list {
		p.progress.Advance(int64(i+2), proofPictures)
		file, err := p.write(fmt.Sprint("low", q.at), p.shaped(q.p, q.n))
		if err != nil {
			return nil, err
		}
		if row.picture[q.at], err = p.render(ctx, file, 1, ""); err != nil {
			return nil, err
		}
	}
	return row, p.judge(row)
}

// merged is parts as one mesh with normals.
func (p *proving) merged(parts []bake.Part) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range parts {
		q := *parts[i].Mesh
		q.UV = nil
		m.Append(&q)
	}
	return m
}

// values compares the maps with the truth at the vertices.
func (p *proving) values(q *bake.Proof) {
	base := p.w.Passes[0].Bake.Low
	var n, sq, hq float64
	for i, met := range p.truth.Met {
		if !met {
			q.Missed++
			continue
		}
		uv := p.relay.Mesh.UV[i]
		v := base.Decoded(p.relay, i, p.normal.Normal(uv, 0))
		a := geom.Degrees(math.Atan2(v.Cross(p.truth.N[i]).Len(), v.Dot(p.truth.N[i])))
		n, sq = n+1, sq+a*a
		if a > q.NormalMost {
			q.NormalMost, q.NormalAt = a, p.place(p.truth.P[i], uv)
		}
		if p.scale != 0 {
			h := math.Abs((p.height.Scalar(uv, 0)-p.zero)*p.scale - p.truth.Height[i])
			hq += h * h
			if h > q.HeightMost {
				q.HeightMost, q.HeightAt = h, p.place(p.truth.P[i], uv)
			}
		}
	}
	q.NormalRMS, q.HeightRMS = math.Sqrt(sq/max(1, n)), math.Sqrt(hq/max(1, n))
}

// place is where something is, in mm and texels.
func (p *proving) place(v geom.Vec, uv geom.UV) bake.Place {
	tile := texture.TileOf(uv)
	_, fu := math.Modf(uv.U)
	fv := uv.V - math.Floor(uv.V)
	return bake.Place{MM: bake.MM(v), Tile: tile, Texel: [2]int{int(fu * float64(p.size)), int(fv * float64(p.size))}}
}

// shaped is the relay with places and normals from the maps (0), the truth (1) or, of places, the facets (2).
func (p *proving) shaped(from, normals int) *mesh.Mesh {
	base := p.w.Passes[0].Bake.Low
	m := p.relay.Mesh
	m.UV = nil
	m.P, m.N = make([]geom.Vec, len(p.relay.Tri)), make([]geom.Vec, len(p.relay.Tri))
	for i := range m.P {
		uv := p.relay.Mesh.UV[i]
		switch {
		case from == 1 && p.truth.Met[i]:
			m.P[i] = p.truth.P[i]
		case from == 0 && p.scale != 0:
			m.P[i] = base.Raised(p.relay, i, (p.height.Scalar(uv, 0)-p.zero)*p.scale)
		default:
			m.P[i] = base.Raised(p.relay, i, 0)
		}
		if normals == 1 && p.truth.Met[i] {
			m.N[i] = p.truth.N[i]
		} else {
			m.N[i] = base.Decoded(p.relay, i, p.normal.Normal(uv, 0))
		}
	}
	return &m
}

func (p *proving) write(name string, m *mesh.Mesh) (string, error) {
	path := filepath.Join(p.dir, name+".glb")
	return path, gltfio.Write(path, []gltfio.Part{{Name: "shown", Mesh: m, Look: gltfio.Look{BaseColour: [3]float64{0.5, 0.5, 0.5}, Roughness: 1}}})
}

// plain is the low mesh as it is, whose normal map the renderer reads by itself: a frame that it has otherwise than the bake would show.
func (p *proving) plain(ctx context.Context, m *mesh.Mesh) (*image.NRGBA, error) {
	file, err := p.write("low", m)
	if err != nil {
		return nil, err
	}
	return p.render(ctx, file, 1, fmt.Sprintf(", normal: {file: %q, green: %s, tiling: clamp}", p.normalFile, p.green))
}

// render shows a mesh from +Z, without perspective, in the proof's light; more goes into its material.
func (p *proving) render(ctx context.Context, file string, seed int, more string) (*image.NRGBA, error) {
	c := p.box.Centre()
	far := c.Z + 10*p.box.Size().Len()
	text := fmt.Sprintf(`format: 2
picture: {width: %[1]d, height: %[1]d, samples: %[2]d, seed: %[3]d}
camera: {kind: orthographic, target: [%[4]g, %[5]g, %[6]g], position: [%[4]g, %[5]g, %[7]g], width: %[8]g}
lights:
  - {name: key, kind: disc, orbit: {azimuth: 58, elevation: 30, distance: 900}, radius: 90, radiance: [150, 148, 142]}
  - {name: sky, kind: constant, radiance: 0.35}
objects:
  - {name: shown, shape: mesh, file: %[9]s, material: {kind: diffuse, colour: [0.5, 0.5, 0.5]%[10]s}}
`, p.proofSize, p.proofSamples, seed, c.X, c.Y, c.Z, far, p.width, filepath.Base(file), more)
	path := filepath.Join(p.dir, "proof.yaml")
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		return nil, err
	}
	d, err := scene.Load(path)
	if err != nil {
		return nil, err
	}
	if p.proof != "plain" {
		setup, err := findLightSetup(path, p.proof)
		if err != nil {
			return nil, err
		}
		if d, err = d.WithLightSetup(setup); err != nil {
			return nil, err
		}
	}
	o := render.Options{Workers: p.workers}
	q, err := render.Prepare(ctx, d, o)
	if err != nil {
		return nil, err
	}
	r, err := q.Render(ctx, o)
	if err != nil {
		return nil, err
	}
	return r.Shown()
}

// judge compares the pictures, and says which map is to blame.
func (p *proving) judge(row *proofRow) error {
	light := func(m *image.NRGBA) (out []colour.RGB) {
		for i := 0; i < len(m.Pix); i += 4 {
			out = append(out, colour.RGB{colour.DecodeSRGB(float64(m.Pix[i]) / 255), colour.DecodeSRGB(float64(m.Pix[i+1]) / 255), colour.DecodeSRGB(float64(m.Pix[i+2]) / 255)})
		}
		return out
	}
	high := light(row.picture[ofHigh])
	var score [proofPictures]float64
	for k := range score {
		if k == ofHigh {
			continue
		}
		f, err := imgcmp.FLIP(light(row.picture[k]), high, p.proofSize, imgcmp.DeskViewing)
		if err != nil {
			return err
		}
		mask := make(imgcmp.Mask, len(f))
		for i := range f {
			_, _, hit := p.seen(i)
			mask[i] = hit
		}
		score[k], _, _, _ = imgcmp.Pool(f, mask)
		if k == withMaps {
			row.flip = f
		}
	}
	row.Proof.Maps, row.Proof.Grain, row.Proof.NormalAlone = score[withMaps], score[otherSeed], score[normalAlone]
	row.NormalExact, row.HeightExact, row.BothExact = score[normalExact], score[heightExact], score[bothExact]
	row.Proof.Blame = blame(&row.Proof, p.scale != 0)
	p.worst(row)
	return nil
}

// leastSeen is the FLIP of two pictures of one seed below which nothing is to blame. Own choice.
const leastSeen = 0.002

// blame names the map whose exact values bring the picture nearer to that of the high mesh, which has the same seed. What exact values in
// both leave is no map's.
func blame(q *bake.Proof, heights bool) string {
	left := q.Maps - q.BothExact
	normal, height := (q.Maps-q.NormalExact)/left, (q.Maps-q.HeightExact)/left
	switch {
	case q.Maps < leastSeen:
		return "no map: the pictures are as good as the same"
	case left < 0.25*q.Maps:
		return "no map: with exact values they differ about as much; it is the outline, how finely the mesh is cut, or rays that missed"
	case normal >= height:
		return fmt.Sprintf("normal: with its exact values %.0f %% of what both maps lack is gone", 100*max(0, min(1, normal)))
	case !heights:
		return fmt.Sprintf("the low mesh's own shape, as no map of heights is shown: %.0f %% of what is lacking", 100*min(1, height))
	}
	return fmt.Sprintf("height: with its exact values %.0f %% of what both maps lack is gone", 100*min(1, height))
}

// seen is the place of the low mesh that a pixel shows.
func (p *proving) seen(pixel int) (v geom.Vec, uv geom.UV, ok bool) {
	k := p.width / float64(p.proofSize)
	c := p.box.Centre()
	x, y := float64(pixel%p.proofSize)+0.5, float64(pixel/p.proofSize)+0.5
	far := c.Z + 10*p.box.Size().Len()
	return p.w.Passes[0].Bake.Low.Seen(geom.Vec{X: c.X + (x-float64(p.proofSize)/2)*k, Y: c.Y - (y-float64(p.proofSize)/2)*k, Z: far}, geom.Vec{Z: -1})
}

// worst finds the places where the pictures differ most, apart from each other.
func (p *proving) worst(row *proofRow) {
	order := make([]int, len(row.flip))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case row.flip[a] > row.flip[b]:
			return -1
		case row.flip[a] < row.flip[b]:
			return 1
		}
		return 0
	})
	apart := p.proofSize / 16
	for _, i := range order {
		if len(row.Worst) == 5 {
			break
		}
		x, y := i%p.proofSize, i/p.proofSize
		near := slices.ContainsFunc(row.Worst, func(q bake.Place) bool { return abs(q.Pixel[0]-x) < apart && abs(q.Pixel[1]-y) < apart })
		v, uv, ok := p.seen(i)
		if near || !ok {
			continue
		}
		q := p.place(v, uv)
		q.Pixel, q.Flip = [2]int{x, y}, row.flip[i]
		row.Worst = append(row.Worst, q)
	}
}

func abs(x int) int { return max(x, -x) }

// tellProof writes the numbers of a set.
func (b *baking) tellProof(q *bake.Proof) {
	w := b.stdout
	fmt.Fprintf(w, "proof under light (%s)%s: FLIP %.4f between the high mesh and the low one with its maps (of the high mesh with another seed: %.4f)\n", q.Light, ofSet(q.Set), q.Maps, q.Grain)
	fmt.Fprintf(w, "  with exact normals %.4f, with exact heights %.4f, with both %.4f; the normal map alone on the low mesh's facets %.4f\n", q.NormalExact, q.HeightExact, q.BothExact, q.NormalAlone)
	fmt.Fprintf(w, "  to blame: %s\n", q.Blame)
	fmt.Fprintf(w, "  normal map beside the high mesh: rms %.3f degrees, most %.2f at %s\n", q.NormalRMS, q.NormalMost, placeOf(&q.NormalAt))
	if q.HeightMost > 0 {
		fmt.Fprintf(w, "  height map beside the high mesh: rms %.5f mm, most %.4f at %s\n", q.HeightRMS, q.HeightMost, placeOf(&q.HeightAt))
	}
	for i := range q.Worst {
		fmt.Fprintf(w, "  differs %d: FLIP %.3f at pixel %d,%d: %s\n", i+1, q.Worst[i].Flip, q.Worst[i].Pixel[0], q.Worst[i].Pixel[1], placeOf(&q.Worst[i]))
	}
}

func ofSet(set string) string {
	if set == "" {
		return ""
	}
	return " of " + set
}

func placeOf(q *bake.Place) string {
	s := fmt.Sprintf("%s mm, texel %d,%d", placeWords(q.MM), q.Texel[0], q.Texel[1])
	if q.Tile > texture.FirstTile {
		s += fmt.Sprintf(" of tile %d", q.Tile)
	}
	return s
}

// proofPage lays the pictures out: the high mesh, the low one with its maps, with the normal map alone, and where they differ.
func (b *baking) proofPage(rows []*proofRow) *page.Page {
	n := b.proofSize
	p := &page.Page{W: 2*sheetMargin + 4*n + 3*sheetGap, Title: b.report.Low.File + " with its maps beside " + b.report.High.File}
	across := float64(p.W - 2*sheetMargin)
	p.Text(sheetMargin, sheetMargin+16, 20, true, page.Start, page.Ink, page.Fit(p.Title, 20, true, across))
	y := sheetMargin + 40
	for _, r := range rows {
		for k, w := range []string{"high mesh", fmt.Sprintf("low, all maps: FLIP %.4f", r.Maps), fmt.Sprintf("low, normal map alone: %.4f", r.NormalAlone), "where the second differs, times 4"} {
			p.Text(float64(sheetMargin+k*(n+sheetGap)), float64(y+12), headSize, true, page.Start, page.Ink, page.Fit(w, headSize, true, float64(n)))
		}
		y += 22
		for k, at := range []int{ofHigh, withMaps, normalAlone} {
			p.Image(sheetMargin+k*(n+sheetGap), y, r.picture[at], []string{"high", "low with maps", "low with the normal map"}[k])
		}
		x := sheetMargin + 3*(n+sheetGap)
		loud := make([]float64, len(r.flip))
		for i, v := range r.flip {
			loud[i] = 4 * v
		}
		p.Image(x, y, heat(loud, n, 1), "difference")
		for i, q := range r.Worst {
			p.Circle(float64(x+q.Pixel[0]), float64(y+q.Pixel[1]), 7, 1.5, color.NRGBA{0x5a, 0xc8, 0xfa, 0xff})
			p.Text(float64(x+q.Pixel[0]+9), float64(y+q.Pixel[1]-5), wordSize, true, page.Start, color.NRGBA{0x5a, 0xc8, 0xfa, 0xff}, fmt.Sprint(i+1))
		}
		y += n + 18
		words := []string{fmt.Sprintf("to blame: %s. FLIP with exact normals %.4f, with exact heights %.4f, with both %.4f; of the high mesh with another seed %.4f.", r.Blame, r.NormalExact, r.HeightExact, r.BothExact, r.Grain),
			fmt.Sprintf("normal map beside the high mesh: rms %.3f degrees, most %.2f; height map: rms %.5f mm, most %.4f.", r.NormalRMS, r.NormalMost, r.HeightRMS, r.HeightMost)}
		for i := range r.Worst {
			words = append(words, fmt.Sprintf("%d: FLIP %.3f at %s", i+1, r.Worst[i].Flip, placeOf(&r.Worst[i])))
		}
		for _, l := range words {
			p.Text(sheetMargin, float64(y), wordSize, false, page.Start, page.Quiet, page.Fit(l, wordSize, false, across))
			y += sheetLine
		}
		y += 16
	}
	p.H = y
	return p
}
