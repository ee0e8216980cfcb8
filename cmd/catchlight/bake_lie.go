package main

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/term"

	"catchlight/render/bake"
	"catchlight/render/inspect"
	"catchlight/render/job"
	"catchlight/render/page"
	"catchlight/scene/atlas"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
)

// alignmentName is the picture of how the meshes lie on each other.
const alignmentName = "alignment.png"

// lie says how the meshes lie on each other, and moves the high one where that is wanted.
func (b *baking) lie(ctx context.Context, stdin io.Reader) error {
	if b.out != "" && !b.look {
		if err := job.Guard(b.out, &job.Manifest{Kind: "bake", More: []string{"planes", alignmentName, bake.ReportName}, Overwrite: b.overwrite}); err != nil {
			return err
		}
	}
	if b.align {
		if err := b.move(stdin); err != nil {
			return err
		}
	}
	if b.report.Motion != nil && b.report.Applied {
		fmt.Fprintln(b.stdout, "how they lie on each other after the motion:")
	} else {
		fmt.Fprintln(b.stdout, "how they lie on each other:")
	}
	old := b.earlier()
	for _, s := range b.sets {
		if ctx.Err() != nil {
			return errInterrupted
		}
		l, err := b.measured(s, &old)
		if err != nil {
			return err
		}
		tiles, err := atlas.Tiles(s.Mesh())
		if err != nil {
			return err
		}
		b.report.Sets = append(b.report.Sets, bake.Cast{Name: s.Name, Low: bake.PartNames(s.Low), High: bake.PartNames(s.High), Why: s.Why, Blockers: bake.PartNames(s.Blockers), Tiles: tiles, Lie: l,
			Against: b.against()})
		b.tellLie(s, l)
		if l.Back > 0.5 {
			return fmt.Errorf("%s: %.0f %% of the rays meet backs: one of the two meshes is inside out, or the wrong parts are paired; turn its winding (catchlight inspect FILE --mend COPY), or say --pair", s.Low[0].Name, 100*l.Back)
		}
		if l.Miss > 0.9 {
			return fmt.Errorf("%s: %.0f %% of the rays meet nothing within the cage: the meshes do not lie on each other; see --align, --pair and --cage", s.Low[0].Name, 100*l.Miss)
		}
	}
	if b.writeCage != "" {
		if err := b.cageFile(); err != nil {
			return err
		}
	}
	if b.look && b.out != "" {
		return b.pictureInto(b.out)
	}
	return nil
}

// measured is how a set's meshes lie on each other: as an earlier run found it, where nothing has changed since.
func (b *baking) measured(s *bake.Set, old *bake.Report) (*bake.Lie, error) {
	cage, _ := strconv.ParseFloat(b.cage, 64)
	key := fmt.Sprint(b.lowSum, b.highSum, b.unit, cage, bake.PartNames(s.Low), bake.PartNames(s.High), lieForm)
	if b.report.Applied {
		key += fmt.Sprint(b.report.Motion.Rows)
	}
	sum := sha256.Sum256([]byte(key))
	from := hex.EncodeToString(sum[:])
	for i := range old.Sets {
		if l := old.Sets[i].Lie; l != nil && l.From == from && !b.look {
			return l, nil
		}
	}
	b.progress.Phase("measuring how " + strings.Join(bake.PartNames(s.High), ", ") + " lies on " + strings.Join(bake.PartNames(s.Low), ", "))
	defer b.progress.done()
	low, high, err := s.Surfaces()
	if err != nil {
		return nil, err
	}
	l, err := s.Look(low, high, cage)
	if err == nil {
		l.From = from
	}
	return l, err
}

// lieForm changes whenever the numbers of a lie do.
const lieForm = 1

// against says what heights are measured against.
func (b *baking) against() string {
	if b.levels > 0 {
		return fmt.Sprintf("the low mesh subdivided %d times by Loop's rules, along its smooth normals", b.levels)
	}
	return "the low mesh's facets, along its smooth normals"
}

// tellLie writes the numbers of a set.
func (b *baking) tellLie(s *bake.Set, l *bake.Lie) {
	w := b.stdout
	fmt.Fprintf(w, "  %s <- %s (%s); darkened by %s\n", strings.Join(bake.PartNames(s.Low), ", "), strings.Join(bake.PartNames(s.High), ", "), s.Why, strings.Join(bake.PartNames(s.Blockers), ", "))
	for _, q := range []struct {
		name string
		d    *bake.Distance
	}{{"high to low", &l.ToLow}, {"low to high", &l.ToHigh}} {
		fmt.Fprintf(w, "    %s: rms %.4f mm, 95 %% within %.4f, most %.4f at %s; mean %+.4f\n", q.name, q.d.RMS, q.d.P95, q.d.Most, placeWords(q.d.MostAt), q.d.Mean)
	}
	fmt.Fprintf(w, "    normals: 95 %% within %.1f degrees\n", l.Turn)
	cage, how := l.Cage, "found: 999 of 1000 places of the high mesh lie within, and a fifth more"
	if mm, err := strconv.ParseFloat(b.cage, 64); err == nil {
		cage, how = mm, fmt.Sprintf("as told; %.4f would hold 999 of 1000 places and a fifth more", l.Cage)
	} else if b.cage != "" {
		how = "found; the cage of " + b.cage + " takes its place"
	}
	fmt.Fprintf(w, "    cage %.4f mm (%s)\n", cage, how)
	fmt.Fprintf(w, "    rays from there: %.2f %% miss, %.2f %% meet a back or slant first, %.2f %% could meet a second surface\n", 100*l.Miss, 100*l.Back, 100*l.Twice)
	if l.Miss > 0.001 {
		b.note(fmt.Sprintf("%s: %.2f %% of rays meet nothing, first from %s: their texels are filled from the neighbours; close the high mesh, or widen the cage", s.Low[0].Name, 100*l.Miss, placeWords(l.MissAt)))
	}
	if l.Back > 0.01 {
		b.note(fmt.Sprintf("%s: %.2f %% of rays meet a surface that faces away or lies aslant, first from %s: narrow the cage, pair parts with --pair, or see whether the high mesh is inside out", s.Low[0].Name, 100*l.Back, placeWords(l.WrongAt)))
	}
	if l.ToLow.Mean > 0.5*l.ToLow.RMS+1e-9 && l.ToLow.RMS > 0.02 || l.ToLow.Mean < -0.5*l.ToLow.RMS-1e-9 && l.ToLow.RMS > 0.02 {
		b.note(fmt.Sprintf("%s: the high mesh lies %+.3f mm off in the mean, more than its relief explains; --align says which motion would mend it", s.Low[0].Name, l.ToLow.Mean))
	}
}

func placeWords(p bake.MM) string { return fmt.Sprintf("(%.2f, %.2f, %.2f)", p.X, p.Y, p.Z) }

// move proposes a motion, and applies it on a yes.
func (b *baking) move(stdin io.Reader) error {
	b.progress.Phase("finding the motion that lays the high mesh on the low one")
	m, err := bake.Propose(b.sets)
	b.progress.done()
	if err != nil {
		return err
	}
	b.report.Motion = m
	fmt.Fprintln(b.stdout, "motion that would lay the high mesh on the low one:")
	for _, n := range m.Numbers {
		if n.Held {
			fmt.Fprintf(b.stdout, "  %s: %+.4f ± %.4f %s\n", n.Name, n.Value, n.SE, n.Unit)
		} else {
			fmt.Fprintf(b.stdout, "  %s: not held: %s\n", n.Name, n.Why)
		}
	}
	fmt.Fprintf(b.stdout, "  %.4f mm rms are left, along the normals\n", m.Left)
	if !m.Worth() {
		fmt.Fprintln(b.stdout, "  that is no motion to speak of; the high mesh stays where it is")
		return nil
	}
	yes := b.yes
	if !yes {
		if yes, err = b.ask(stdin); err != nil {
			return err
		}
	}
	if !yes {
		fmt.Fprintln(b.stdout, "the high mesh stays where it is")
		return nil
	}
	b.report.Applied = true
	for _, s := range b.sets {
		own := slices.EqualFunc(s.High, s.Blockers, func(a, c bake.Part) bool { return a.Name == c.Name })
		s.High = bake.Move(s.High, m.Apply, m.Turn)
		if own {
			s.Blockers = s.High
		} else {
			s.Blockers = bake.Move(s.Blockers, m.Apply, m.Turn)
		}
	}
	return nil
}

// ask asks on a terminal, or reads a line that a script sends.
func (b *baking) ask(stdin io.Reader) (bool, error) {
	fmt.Fprint(b.stdout, "move the high mesh so, in memory alone? y or n: ")
	line, err := bufio.NewReader(stdin).ReadString('\n')
	f, _ := stdin.(*os.File)
	if f == nil || !term.IsTerminal(int(f.Fd())) {
		fmt.Fprintln(b.stdout)
	}
	switch strings.ToLower(strings.TrimSpace(line)) {
	case "y", "yes":
		return true, nil
	case "n", "no":
		return false, nil
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return false, err
	}
	return false, usageError{errors.New("--align asks before it moves the high mesh: answer y or n, or give --yes")}
}

// cageFile writes the cages as a mesh.
func (b *baking) cageFile() error {
	if _, err := os.Lstat(b.writeCage); err == nil && !b.overwrite {
		return fmt.Errorf("--write-cage %s: is there already; nothing is written over without --overwrite", b.writeCage)
	}
	var obj []meshio.Part
	var glb []gltfio.Part
	for i, s := range b.sets {
		for k := range s.Low {
			m := *s.Low[k].Mesh
			base, err := b.base(s, &m, b.report.Sets[i].Lie.Cage)
			if err != nil {
				return err
			}
			q := &mesh.Mesh{Tri: m.Tri, N: m.N, UV: m.UV}
			for v, p := range m.P {
				q.P = append(q.P, p.Mad(base.Cage[v], base.Way[v]))
			}
			obj = append(obj, meshio.Part{Name: s.Low[k].Name, Mesh: q})
			glb = append(glb, gltfio.Part{Name: s.Low[k].Name, Mesh: q, Look: gltfio.Look{BaseColour: [3]float64{0.5, 0.5, 0.5}, Roughness: 1}})
		}
	}
	var err error
	if strings.ToLower(filepath.Ext(b.writeCage)) == ".obj" {
		err = meshio.WriteOBJ(b.writeCage, obj, "unit: mm", "where rays of a bake begin")
	} else {
		err = gltfio.Write(b.writeCage, glb)
	}
	if err == nil {
		fmt.Fprintf(b.stdout, "wrote %s: give it as --cage, changed or not, also when the low mesh changes\n", b.writeCage)
	}
	return err
}

// keepPicture writes the picture of the alignment into the job's folder.
func (b *baking) keepPicture(j *job.Job) error {
	for i := range b.report.Sets {
		if b.report.Sets[i].Lie.Low != nil { // measured in this run
			return b.pictureInto(j.Dir)
		}
	}
	return nil
}

func (b *baking) pictureInto(dir string) error {
	p, err := b.alignmentPage()
	if err != nil {
		return err
	}
	data, err := p.PNG()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	path := filepath.Join(dir, alignmentName)
	if err := writeBytes(path, data); err != nil {
		return err
	}
	fmt.Fprintf(b.stdout, "wrote %s\n", path)
	return nil
}

// alignmentPage draws the distance between the meshes: on the low one from in front and from the side, and in the picture of its
// coordinates.
func (b *baking) alignmentPage() (*page.Page, error) {
	const cell = bake.MapSide
	p := &page.Page{W: 2*sheetMargin + 3*cell + 2*sheetGap, Title: b.report.High.File + " on " + b.report.Low.File}
	across := float64(p.W - 2*sheetMargin)
	p.Text(sheetMargin, sheetMargin+16, 20, true, page.Start, page.Ink, page.Fit(p.Title+": distance", 20, true, across))
	y := sheetMargin + 44
	for i := range b.report.Sets {
		c := &b.report.Sets[i]
		l := c.Lie
		if l.Low == nil {
			continue
		}
		most := math.Max(l.ToHigh.P95, 1e-6)
		turned := make([]float64, len(l.Signed)) // where the high mesh lies, seen from the low one
		for v, x := range l.Signed {
			turned[v] = -x
		}
		p.Text(sheetMargin, float64(y), headSize, true, page.Start, page.Ink, page.Fit(strings.Join(c.Low, ", ")+" ← "+strings.Join(c.High, ", "), headSize, true, across))
		words := fmt.Sprintf("rms %.4f mm, 95 %% within %.4f, most %.4f; cage %.4f; rays: %.2f %% miss, %.2f %% on backs, %.2f %% with a second surface", l.ToHigh.RMS, l.ToHigh.P95, l.ToHigh.Most, l.Cage, 100*l.Miss, 100*l.Back, 100*l.Twice)
		p.Text(sheetMargin, float64(y+sheetLine), wordSize, false, page.Start, page.Quiet, page.Fit(words, wordSize, false, across))
		y += sheetLine + 12
		for k, f := range []geom.Frame{{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}, {S: geom.Vec{Z: -1}, T: geom.Vec{Y: 1}, N: geom.Vec{X: 1}}} {
			m, err := inspect.Draw(l.Low, turned, func(v float64) colour.RGB { return apartTone(v / most) }, f, cell)
			if err != nil {
				return nil, err
			}
			p.Image(sheetMargin+k*(cell+sheetGap), y, m, []string{"from in front", "from the side"}[k])
		}
		p.Image(sheetMargin+2*(cell+sheetGap), y, distanceMap(l.Map, most), "in the picture of the coordinates")
		y += cell + 8
		for k, w := range []string{"from +Z", "from +X", fmt.Sprintf("layout, tile %d", c.Tiles[0])} {
			p.Text(float64(sheetMargin+k*(cell+sheetGap)), float64(y+12), wordSize, false, page.Start, page.Quiet, w)
		}
		x0, x1 := float64(sheetMargin), float64(sheetMargin+cell)
		for k := range 64 {
			p.Rect(x0+(x1-x0)*float64(k)/64, float64(y+22), (x1-x0)/64+1, 12, tone8(apartTone(float64(k)/31.5-1)))
		}
		p.Text(x0, float64(y+50), wordSize, false, page.Start, page.Quiet, fmt.Sprintf("%.4f mm: high inside low", -most))
		p.Text(x1, float64(y+50), wordSize, false, page.End, page.Quiet, fmt.Sprintf("high outside %+.4f", most))
		y += 50 + 26
	}
	p.H = y
	return p, nil
}

// apartTone is the colour of a signed share: grey at 0, blue inward, amber outward, both lighter the further, linear.
func apartTone(x float64) colour.RGB {
	x = max(-1, min(1, x))
	end := colour.RGB{0.10, 0.42, 0.95}
	if x > 0 {
		end = colour.RGB{1, 0.45, 0.05}
	}
	t := math.Sqrt(math.Abs(x))
	return colour.RGB{0.16, 0.16, 0.16}.Scale(1 - t).Add(end.Scale(t))
}

func tone8(c colour.RGB) color.NRGBA {
	code := func(v float64) uint8 { return uint8(255*colour.EncodeSRGB(max(0, min(1, v))) + 0.5) }
	return color.NRGBA{code(c[0]), code(c[1]), code(c[2]), 255}
}

// distanceMap colours distances of the low mesh from the high one, turned over: the page tells where the high one lies. Where there is none
// it is dark.
func distanceMap(v []float64, most float64) *image.NRGBA {
	n := bake.MapSide
	m := image.NewNRGBA(image.Rect(0, 0, n, n))
	for i, x := range v {
		c := color.NRGBA{0x18, 0x18, 0x18, 255}
		if !math.IsNaN(x) && len(v) == n*n {
			c = tone8(apartTone(-x / most))
		}
		m.SetNRGBA(i%n, i/n, c)
	}
	return m
}
