package expr

import (
	"testing"

	"weald/ingest/sample"
)

// What benchmarks compute goes here, lest it is optimised away.
var (
	answer sample.Truth
	native bool
)

var benchmarks = []struct{ name, text string }{
	{"limit", "ankle.pressure > 30"},
	{"still", "still"},
	{"difference", "ankle.pressure - calf.pressure > 10 and still"},
	{"quotient", "(ankle.pressure - calf.pressure) / (ankle.pressure + calf.pressure) * 100 > 20"},
	{"units", "cuff.pressure > calf.pressure"},
	{"widest", "max(ankle.pressure, calf.pressure, mat.peak) > 50 mmHg and known(mat.load) or wrapped"},
}

func BenchmarkEval(b *testing.B) {
	values, truths := readings()
	for _, c := range benchmarks {
		p := compile(b, ward, c.text)
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				answer = p.Eval(values, truths)
			}
		})
	}
}

// BenchmarkNative is the yardstick: the same in plain Go, with two truths.
func BenchmarkNative(b *testing.B) {
	v, truths := readings()
	b.Run("limit", func(b *testing.B) {
		for b.Loop() {
			native = v[ankle] > 30
		}
	})
	b.Run("difference", func(b *testing.B) {
		for b.Loop() {
			native = v[ankle]-v[calf] > 10 && truths[0] == sample.Yes
		}
	})
	b.Run("quotient", func(b *testing.B) {
		for b.Loop() {
			native = (v[ankle]-v[calf])/(v[ankle]+v[calf])*100 > 20
		}
	})
}

func BenchmarkCompile(b *testing.B) {
	for b.Loop() {
		compile(b, ward, "ankle.pressure - calf.pressure > 10 mmHg and still")
	}
}

func TestEvalDoesNotAllocate(t *testing.T) {
	values, truths := readings()
	for _, c := range benchmarks {
		p := compile(t, ward, c.text)
		if n := testing.AllocsPerRun(100, func() { answer = p.Eval(values, truths) }); n != 0 {
			t.Errorf("%s: %v allocations", c.text, n)
		}
	}
}
