package eye

import "testing"

func BenchmarkBuild(b *testing.B) {
	p := Defaults()
	for b.Loop() {
		if _, err := Build(p); err != nil {
			b.Fatal(err)
		}
	}
}
