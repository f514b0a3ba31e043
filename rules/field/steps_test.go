package field_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules/field"
	"weald/rules/hold"
)

// A row is what the hold says one delay after the other, also where a value is
// judged by its uncertainty, a band has two sides, and steps last no time.
func TestARowIsItsAlerts(t *testing.T) {
	some := 0
	tried.Check(t, tried.Count(&some, 500), func(t *rapid.T) {
		small := func(name string, most int) time.Duration {
			return time.Duration(rapid.IntRange(0, most).Draw(t, name))
		}
		band := hold.Outside(26, 32, float64(rapid.IntRange(0, 3).Draw(t, "deadband"))).
			At(rapid.SampledFrom([]float64{0.05, 0.5, 0.95}).Draw(t, "certainty"))
		spec := hold.Spec{OffDelay: small("off", 6), ResetsAfter: small("resets", 8), ForgetAfter: small("forget", 8)}
		var trace field.Trace
		at := sample.Instant(0)
		for range rapid.IntRange(1, 40).Draw(t, "n") {
			trace.Add(at, rapid.SampledFrom([]float64{24, 25, 27, 29, 31, 33, 34, sample.Unknown}).Draw(t, "value"))
			trace.U = append(trace.U, rapid.SampledFrom([]float64{0, 1, 2, sample.Unknown}).Draw(t, "u"))
			trace.Shut = append(trace.Shut, rapid.IntRange(0, 9).Draw(t, "shut") == 0)
			at = at.Add(small("lasting", 5))
		}
		trace.End = at
		var delays []time.Duration
		for d := range time.Duration(20) {
			delays = append(delays, d)
		}
		counts := make([]int, len(delays))
		new(field.Excursions).Row(&trace, &band, &spec, delays, counts)
		for i, d := range delays {
			spec.OnDelay = d
			if want := len(field.Alerts(&trace, &band, &spec)); counts[i] != want {
				t.Fatalf("%+v with %+v: delay %d raises %d times, want %d", trace, spec, d, counts[i], want)
			}
			some += counts[i]
		}
	})
}

// week is a region's signal at 1/s that wanders about the limits, with a silence
// now and then.
func week(seed uint64) *field.Trace {
	r := rand.New(rand.NewPCG(seed, 7))
	t := &field.Trace{}
	level := 40.0
	for i := range 7 * 24 * 3600 {
		if i%600 == 0 {
			level = 25 + 30*r.Float64()
		}
		v := level + 6*r.NormFloat64()
		if i%5000 < 20 {
			v = sample.Unknown
		}
		t.Add(sample.Instant(i)*sample.Instant(time.Second), v)
	}
	t.End = t.At[len(t.At)-1].Add(time.Second)
	return t
}

// A field of 20 limits and 20 delays over a week of one region's signal at 1/s.
func BenchmarkWeek(b *testing.B) {
	t := week(1)
	spec := hold.Spec{OffDelay: 30 * time.Second, ResetsAfter: 10 * time.Second, ForgetAfter: 10 * time.Minute}
	var delays []time.Duration
	for i := range time.Duration(20) {
		delays = append(delays, time.Second+i*i*15*time.Second)
	}
	var work field.Excursions
	total := 0
	for b.Loop() {
		total = 0
		for l := range 20 {
			band := hold.Above(20+2*float64(l), 2).At(hold.Half)
			counts := make([]int, len(delays))
			work.Row(t, &band, &spec, delays, counts)
			for _, n := range counts {
				total += n
			}
		}
	}
	b.ReportMetric(float64(total), "alerts")
}
