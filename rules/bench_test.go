package rules_test

import (
	"math"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
)

type nobody struct{}

func (nobody) Alert(alert.Event)           {}
func (nobody) Updated(int, sample.Instant) {}
func (nobody) Late(int, *sample.Scan)      {}

// add is a bare loop. It is a function of its own, as one within b.Loop adds up in
// memory.
//
//go:noinline
func add(values []float64) (sum float64) {
	for _, v := range values {
		sum += v
	}
	return sum
}

// One scan of a 2,048-cell mat in six regions through regions, the map of
// durations and a per-cell hold, beside a bare loop over the same values.
func BenchmarkMatScan(b *testing.B) {
	const rows, columns = 64, 32
	n := rows * columns
	plan := bed(rows, columns, above("mat.pressure", 60, 30*time.Minute))
	values := make([]float64, n)
	for i := range values {
		values[i] = math.Max(0, 80*math.Sin(float64(i)/37)*math.Cos(float64(i%columns)/9))
	}
	b.Run("bare", func(b *testing.B) {
		for b.Loop() {
			add(values)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/cell")
	})
	b.Run("engine", func(b *testing.B) {
		e := rules.NewEngine(plan, nobody{})
		s := sample.Scan{Values: values}
		b.ReportAllocs()
		for b.Loop() {
			s.At = s.At.Add(time.Second)
			s.Arrived = s.At
			values[int(s.At/1e9)%n] += 0.5 // some cells turn
			e.Scan(&s)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/cell")
	})
}

// allocatesNothing fails unless scans cost no allocation of which one value changes a second,
// below 100 mmHg, nor do the lives of alerts, while nothing happens.
func allocatesNothing(t *testing.T, plan *rules.Plan, s sample.Scan) {
	t.Helper()
	e := rules.NewEngine(plan, nobody{})
	if got := testing.AllocsPerRun(200, func() {
		s.At = s.At.Add(time.Second)
		s.Arrived = s.At
		s.Values[int(s.At/1e9)%len(s.Values)] = float64(int(s.At/1e9) % 100)
		e.Scan(&s)
		e.Next()
		e.Tick(s.At)
	}); got != 0 {
		t.Errorf("%v allocations a scan, want none", got)
	}
}

func TestSteadyScansDoNotAllocate(t *testing.T) {
	plan := bed(8, 8, above("mat.pressure", 100, 30*time.Minute), above("back.peak", 100, time.Minute))
	plan.Rules[1].ID, plan.Rules[1].EscalateAfter = "peak", time.Minute
	allocatesNothing(t, plan, sample.Scan{Values: make([]float64, 64)})
}
