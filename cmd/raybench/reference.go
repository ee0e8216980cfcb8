package main

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"golang.org/x/sys/unix"
)

// cpuSeconds is the processor time that this process has used.
func cpuSeconds() float64 {
	var t unix.Timespec
	if unix.ClockGettime(unix.CLOCK_PROCESS_CPUTIME_ID, &t) != nil {
		return 0
	}
	return float64(t.Nano()) * 1e-9
}

// buildReference compiles the reference program.
func buildReference(source, program string) error {
	if _, err := exec.LookPath("g++"); err != nil {
		return fmt.Errorf("no g++ to build %s with", source)
	}
	out, err := exec.Command("g++", "-O3", "-march=native", "-std=c++17", "-o", program, source, "-lembree3").CombinedOutput()
	if err != nil {
		first, _, _ := strings.Cut(string(out), "\n")
		return fmt.Errorf("%s does not build (libembree-dev?): %s", source, first)
	}
	return nil
}

// reference is the running program: it reads commands and answers each with one line.
type reference struct {
	cmd   *exec.Cmd
	in    io.WriteCloser
	out   *bufio.Scanner
	about string
}

// startReference hands it the scene and the rays in files of the folder.
func startReference(program, dir string, s *shape, sets []set) (*reference, error) {
	f, err := os.Create(filepath.Join(dir, "scene.bin"))
	if err != nil {
		return nil, err
	}
	w := bufio.NewWriterSize(f, 1<<20)
	put := func(v any) {
		if err == nil {
			err = binary.Write(w, binary.LittleEndian, v)
		}
	}
	shell := func(v0, v1, t0, t1 int) {
		put([]uint32{uint32(v1 - v0), uint32(t1 - t0)})
		vs := make([]float32, 0, 3*(v1-v0))
		for _, p := range s.p[v0:v1] {
			vs = append(vs, float32(p.X), float32(p.Y), float32(p.Z))
		}
		put(vs)
		ts := make([]uint32, 0, 3*(t1-t0))
		for _, t := range s.tri[t0:t1] {
			ts = append(ts, t[0]-uint32(v0), t[1]-uint32(v0), t[2]-uint32(v0))
		}
		put(ts)
	}
	shell(0, s.verts, 0, s.inner)
	shell(s.verts, len(s.p), s.inner, len(s.tri))
	if err == nil {
		err = w.Flush()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		return nil, err
	}
	for i := range sets {
		if err := writeRays(filepath.Join(dir, sets[i].name+".rays"), sets[i].rays); err != nil {
			return nil, err
		}
	}
	r := &reference{cmd: exec.Command(program, dir)}
	r.cmd.Stderr = os.Stderr
	if r.in, err = r.cmd.StdinPipe(); err != nil {
		return nil, err
	}
	out, err := r.cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	r.out = bufio.NewScanner(out)
	if err := r.cmd.Start(); err != nil {
		return nil, err
	}
	r.about, err = r.ask("build")
	return r, err
}

func writeRays(file string, rays []ray) error {
	f, err := os.Create(file)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(f, 1<<20)
	err = binary.Write(w, binary.LittleEndian, rays)
	if err == nil {
		err = w.Flush()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	return err
}

func (r *reference) ask(format string, a ...any) (string, error) {
	if _, err := fmt.Fprintf(r.in, format+"\n", a...); err != nil {
		return "", err
	}
	if !r.out.Scan() {
		return "", fmt.Errorf("the reference ended: %w", r.out.Err())
	}
	return r.out.Text(), nil
}

// time returns the CPU seconds that rays from..from+n-1 of a set take.
func (r *reference) time(s *set, from, n int) (float64, error) {
	line, err := r.ask("time %s %s %t %d %d", s.shell, s.name, s.occluded, from, n)
	if err != nil {
		return 0, err
	}
	var sec float64
	_, err = fmt.Sscan(line, &sec)
	return sec, err
}

// hits returns the distances of a set's hits, -1 for a miss.
func (r *reference) hits(s *set, dir string) ([]float32, error) {
	file := filepath.Join(dir, s.name+".hits")
	if _, err := r.ask("hits %s %s %t %s", s.shell, s.name, s.occluded, file); err != nil {
		return nil, err
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	out := make([]float32, len(s.rays))
	return out, binary.Read(bufio.NewReaderSize(f, 1<<20), binary.LittleEndian, out)
}

func (r *reference) stop() {
	_ = r.in.Close()
	_ = r.cmd.Wait()
}
