package render

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// BenchmarkWorkers renders an eye with one worker and with two by turns: how much more processor time two take, how much sooner they are
// done, and how many processors they got, which a busy machine makes fewer than two: then the second figure says nothing of the program.
func BenchmarkWorkers(b *testing.B) {
	p := prepare(b, marshEye, "picture.width=96", "picture.height=96", "picture.samples=16")
	var cpu, wall [2]float64
	for b.Loop() {
		for i := range 2 {
			start, from := time.Now(), cpuSeconds()
			_, err := p.Render(context.Background(), Options{Workers: i + 1})
			require.NoError(b, err)
			cpu[i], wall[i] = cpu[i]+cpuSeconds()-from, wall[i]+time.Since(start).Seconds()
		}
	}
	b.ReportMetric(cpu[1]/cpu[0], "cpu-2-over-1")
	b.ReportMetric(wall[0]/wall[1], "times-sooner")
	b.ReportMetric(cpu[0]/wall[0], "processors-of-1")
	b.ReportMetric(cpu[1]/wall[1], "processors-of-2")
}
