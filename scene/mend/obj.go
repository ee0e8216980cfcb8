package mend

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"catchlight/scene/geom"
)

// obj rewrites the lines v, vn and f of an object file; all others stay, byte by byte.
func obj(data []byte, c *Changes) ([]byte, []string, error) {
	var out bytes.Buffer
	out.Grow(len(data) + len(data)/8)
	names := map[string]bool{} // of the objects or groups under way
	all := map[string]bool{}
	faces, over := 0, 0
	var err error
	number := 0
	for len(data) > 0 && err == nil {
		number++
		line := data
		if i := bytes.IndexByte(data, '\n'); i >= 0 {
			line, data = data[:i+1], data[i+1:]
		} else {
			data = nil
		}
		word := bytes.Fields(line)
		if len(word) == 0 {
			out.Write(line)
			continue
		}
		switch string(word[0]) {
		case "o", "g":
			if string(word[0]) == "o" {
				names = map[string]bool{}
			}
			if len(word) > 1 {
				names[string(word[1])], all[string(word[1])] = true, true
			}
			out.Write(line)
		case "v", "vn":
			if string(word[0]) == "v" && !c.scales() && !c.turns() || string(word[0]) == "vn" && !c.turns() && len(c.Negate) == 0 {
				out.Write(line)
				continue
			}
			err = place(&out, word, c, number)
		case "f":
			faces++
			if !c.over(names) {
				out.Write(line)
				continue
			}
			over++
			out.WriteString("f")
			slices.Reverse(word[2:])
			for _, w := range word[1:] {
				out.WriteByte(' ')
				out.Write(w)
			}
			out.WriteByte('\n')
		default:
			out.Write(line)
		}
	}
	if err != nil {
		return nil, nil, err
	}
	for n := range all {
		if len(c.Negate) > 0 && !c.negates(n) && len(all) > 1 {
			return nil, nil, fmt.Errorf("the normals of %q are right and those of others are not; an .obj has one list of normals for all, so export it as .glb", n)
		}
	}
	did := c.did()
	if over > 0 {
		did = append(did, fmt.Sprintf("%d of %d faces are turned over", over, faces))
	}
	if len(c.Over) > 0 && over == 0 {
		return nil, nil, errors.New("none of its faces are of the objects that are to be turned over")
	}
	if len(c.Negate) > 0 {
		did = append(did, "all normals are negated")
	}
	return out.Bytes(), did, nil
}

// over reports whether faces of these objects are turned over. A file without names is one object.
func (c *Changes) over(names map[string]bool) bool {
	if len(c.Over) > 0 && len(names) == 0 {
		return true
	}
	for n := range names {
		if slices.ContainsFunc(c.Over, func(s string) bool { return objectOf(s, n) }) {
			return true
		}
	}
	return false
}

func (c *Changes) negates(name string) bool {
	return slices.ContainsFunc(c.Negate, func(s string) bool { return objectOf(s, name) })
}

// objectOf reports whether a part's name is that of an object, perhaps with a material or number behind it.
func objectOf(part, object string) bool {
	p := node(part)
	return p == object || len(p) > len(object) && p[:len(object)] == object && (p[len(object)] == '/' || p[len(object)] == ':' || p[len(object)] == ' ')
}

// place writes a line v or vn anew; what stands behind its three numbers, such as colours, stays.
func place(out *bytes.Buffer, word [][]byte, c *Changes, line int) error {
	if len(word) < 4 {
		return fmt.Errorf("line %d: %s with %d numbers, must be 3", line, word[0], len(word)-1)
	}
	var x [3]float64
	for i := range x {
		v, err := strconv.ParseFloat(string(word[1+i]), 64)
		if err != nil {
			return fmt.Errorf("line %d: %.40q is no number", line, word[1+i])
		}
		x[i] = v
	}
	p := geom.Vec{X: x[0], Y: x[1], Z: x[2]}
	if c.turns() {
		p = geom.Affine{M: c.Turn.M}.Vector(p)
	}
	if normal := string(word[0]) == "vn"; normal && len(c.Negate) > 0 {
		p = p.Neg()
	} else if !normal && c.scales() {
		p = p.Mul(c.Factor)
	}
	out.Write(word[0])
	for _, v := range []float64{p.X, p.Y, p.Z} {
		out.WriteByte(' ')
		out.Write(strconv.AppendFloat(nil, v, 'g', 10, 64))
	}
	for _, w := range word[4:] {
		out.WriteByte(' ')
		out.Write(w)
	}
	out.WriteByte('\n')
	return nil
}
