package bake

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"os"

	"catchlight/scene/atlas"
)

// Planes are a map's raw values in a file, block by block, so that they need not be in memory: 4 bytes a number, channel after channel
// within a block. A block counts as done once its sum is written, so what is read was written whole. Several goroutines may put blocks
// of their own.
type Planes struct {
	W, H, C int
	file    *os.File
	sum     []uint32 // of a block: 0 not done, 1 done and empty, else its sum
	data    int64    // where the blocks begin
}

// planesMark begins the file; its last digit is the form's version.
const planesMark = "bakepln1"

// Key is what values depend on, as a sum.
type Key [32]byte

// OpenPlanes opens the file of planes for a key, or begins it anew where it is of another key or size.
func OpenPlanes(path string, key Key, w, h, c int) (*Planes, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o666)
	if err != nil {
		return nil, err
	}
	blocks := (w + atlas.Side - 1) / atlas.Side * ((h + atlas.Side - 1) / atlas.Side)
	p := &Planes{W: w, H: h, C: c, file: f, sum: make([]uint32, blocks)}
	head := append([]byte(planesMark), key[:]...)
	for _, v := range []int{w, h, c} {
		head = binary.LittleEndian.AppendUint32(head, uint32(v))
	}
	p.data = int64(len(head)+4*blocks+4095) &^ 4095
	was := make([]byte, len(head)+4*blocks)
	if _, err := f.ReadAt(was, 0); err == nil && string(was[:len(head)]) == string(head) {
		for i := range p.sum {
			p.sum[i] = binary.LittleEndian.Uint32(was[len(head)+4*i:])
		}
		return p, nil
	}
	err = f.Truncate(0)
	if err == nil {
		_, err = f.WriteAt(append(head, make([]byte, 4*blocks)...), 0)
	}
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return p, nil
}

// Done reports whether a block is there.
func (p *Planes) Done(block int) bool { return p.sum[block] != 0 }

// Put writes a block; data nil means that no texel of it is covered.
func (p *Planes) Put(block int, data []float32) error {
	sum := uint32(1)
	if data != nil {
		b := make([]byte, 4*len(data))
		for i, v := range data {
			binary.LittleEndian.PutUint32(b[4*i:], math.Float32bits(v))
		}
		sum = max(2, crc32.ChecksumIEEE(b))
		if _, err := p.file.WriteAt(b, p.at(block)); err != nil {
			return err
		}
	}
	if _, err := p.file.WriteAt(binary.LittleEndian.AppendUint32(nil, sum), int64(len(planesMark)+32+12+4*block)); err != nil {
		return err
	}
	p.sum[block] = sum
	return nil
}

func (p *Planes) at(block int) int64 {
	return p.data + int64(block)*int64(4*p.C*atlas.Side*atlas.Side)
}

// Check reads all blocks and forgets those that are not as they were written; it returns how many.
func (p *Planes) Check() (lost int) {
	b := make([]byte, 4*p.C*atlas.Side*atlas.Side)
	for i, s := range p.sum {
		if s < 2 {
			continue
		}
		if _, err := p.file.ReadAt(b, p.at(i)); err != nil || max(2, crc32.ChecksumIEEE(b)) != s {
			p.sum[i] = 0
			lost++
		}
	}
	return lost
}

// Channel reads a channel into dst, row by row, W x H; blocks that are not there or not covered are 0.
func (p *Planes) Channel(c int, dst []float32) error {
	const n = atlas.Side * atlas.Side
	across := (p.W + atlas.Side - 1) / atlas.Side
	b := make([]byte, 4*n)
	for block, s := range p.sum {
		x0, y0 := block%across*atlas.Side, block/across*atlas.Side
		x1, y1 := min(p.W, x0+atlas.Side), min(p.H, y0+atlas.Side)
		if s < 2 {
			for y := y0; y < y1; y++ {
				clear(dst[y*p.W+x0 : y*p.W+x1])
			}
			continue
		}
		if _, err := p.file.ReadAt(b, p.at(block)+int64(4*n*c)); err != nil && err != io.EOF {
			return err
		}
		for y := y0; y < y1; y++ {
			row := dst[y*p.W+x0 : y*p.W+x1]
			from := b[4*(y-y0)*atlas.Side:]
			for i := range row {
				row[i] = math.Float32frombits(binary.LittleEndian.Uint32(from[4*i:]))
			}
		}
	}
	return nil
}

// Bytes returns how much of the disk a file of planes takes at most.
func (p *Planes) Bytes() int64 { return p.at(len(p.sum)) }

// Close closes the file.
func (p *Planes) Close() error { return p.file.Close() }
