package rules_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
	"weald/rules/alert"
)

// twoBeds is a plan of two beds, each with a mat of its own, under the same rules.
func twoBeds() *rules.Plan {
	cell, peak := above("mat.pressure", 32, 3*time.Second), above("heels.peak", 34, 0)
	peak.ID, peak.OffDelay = "peak", 2*time.Second
	cell.ResetsAfter, cell.ForgetAfter = 2*time.Second, 8*time.Second
	plan := bed(1, 4, cell, peak)
	other := plan.Places[0]
	other.ID, other.Mat = "bed-5", &rules.Mat{}
	*other.Mat = *plan.Places[0].Mat
	other.Mat.Source = 1
	plan.Sources = append(plan.Sources, plan.Sources[0])
	plan.Sources[1].ID = "hub/other"
	plan.Places = append(plan.Places, other)
	return plan
}

// A seen is a scan that a test draws.
type seen struct {
	source int
	at     time.Duration
	values []float64
}

// drawScans draws scans of sources with four cells each, missing ones among them. The
// last of each is at the same instant, where the run ends.
func drawScans(t *rapid.T, sources int) (out []seen) {
	cell := rapid.OneOf(rapid.Float64Range(28, 38), rapid.SampledFrom([]float64{32, 34, math.NaN()}))
	values := func() []float64 { return rapid.SliceOfN(cell, 4, 4).Draw(t, "values") }
	at := time.Duration(0)
	for range rapid.IntRange(1, 40).Draw(t, "n") {
		at += time.Duration(rapid.IntRange(1, 4000).Draw(t, "step")) * time.Millisecond
		out = append(out, seen{rapid.IntRange(0, sources-1).Draw(t, "source"), at, values()})
	}
	for s := range sources {
		out = append(out, seen{s, at + time.Second, values()})
	}
	return out
}

func (s *story) see(list []seen) {
	for _, x := range list {
		s.scan(x.source, x.at, x.values...)
	}
	s.Finish()
}

// What happens at one place is none of another's business: a bed raises the same, at
// the same instants, with and without a neighbour.
func TestPlacesDoNotMatterToEachOther(t *testing.T) {
	told := 0
	tried.Check(t, tried.Count(&told, 100), func(t *rapid.T) {
		scans := drawScans(t, 2)
		both := &story{}
		both.Engine = rules.NewEngine(twoBeds(), both)
		both.see(scans)
		for i, id := range []string{"bed-4", "bed-5"} {
			plan := twoBeds()
			plan.Places = plan.Places[i : i+1]
			alone := &story{}
			alone.Engine = rules.NewEngine(plan, alone)
			alone.see(slices.DeleteFunc(slices.Clone(scans), func(s seen) bool { return s.source != i }))
			got := slices.DeleteFunc(slices.Clone(both.lines), func(s string) bool { return !strings.Contains(s, " "+id+"~") })
			if a, b := strings.Join(got, "\n"), strings.Join(alone.lines, "\n"); a != b {
				t.Fatalf("%s beside another:\n%s\nalone:\n%s", id, a, b)
			}
			told += len(got)
		}
	})
}

// The same scans later in the day are the same alerts later in the day: nothing asks
// for a clock, and no instant is special.
func TestNoInstantIsSpecial(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		scans := drawScans(t, 2)
		by := time.Duration(rapid.Int64Range(1, int64(50*365*24*time.Hour)).Draw(t, "later"))
		runs := make([][]string, 2)
		for i, shift := range []time.Duration{0, by} {
			var got recorder
			e := rules.NewEngine(twoBeds(), &got)
			for _, x := range scans {
				at := sample.Instant(x.at + shift)
				e.Scan(&sample.Scan{Source: x.source, At: at, Arrived: at, Values: x.values})
			}
			e.Finish()
			for _, a := range got {
				runs[i] = append(runs[i], fmt.Sprint(time.Duration(a.At)-shift, a.What, a.ID(), a.Value, a.Held, a.State, a.Tier, a.Text))
			}
		}
		if !slices.Equal(runs[0], runs[1]) {
			t.Fatalf("%v later:\n%s\nwant:\n%s", by, strings.Join(runs[1], "\n"), strings.Join(runs[0], "\n"))
		}
	})
}

// A recorder keeps every event whole.
type recorder []alert.Event

func (r *recorder) Alert(e alert.Event)           { *r = append(*r, e) }
func (*recorder) Updated(int, sample.Instant)     {}
func (*recorder) Late(source int, _ *sample.Scan) {}

// A scan that is older than what was judged is late: it is told as late, counted once,
// and judges nothing, whatever it reads.
func TestLateScansJudgeNothing(t *testing.T) {
	lates := 0
	tried.Check(t, tried.Count(&lates, 100), func(t *rapid.T) {
		scans := drawScans(t, 1)
		plain, mixed := &story{}, &story{}
		plan := bed(1, 4, twoBeds().Rules...)
		plain.Engine, mixed.Engine = rules.NewEngine(plan, plain), rules.NewEngine(plan, mixed)
		late := 0
		for i, x := range scans {
			plain.scan(0, x.at, x.values...)
			mixed.scan(0, x.at, x.values...)
			if i > 0 && rapid.Bool().Draw(t, "and one that waited") {
				at := scans[rapid.IntRange(0, i-1).Draw(t, "as old as")].at
				old := sample.Scan{Source: 0, At: sample.Instant(at), Arrived: sample.Instant(x.at), Values: []float64{99, 0, math.NaN(), 99}}
				mixed.Scan(&old)
				late++
			}
		}
		plain.Finish()
		mixed.Finish()
		if mixed.late != late || plain.late != 0 {
			t.Fatalf("%d of %d are told as late", mixed.late, late)
		}
		if got, want := strings.Join(mixed.lines, "\n"), strings.Join(plain.lines, "\n"); got != want {
			t.Fatalf("with late scans:\n%s\nwithout:\n%s", got, want)
		}
		lates += late
	})
}

// A region is known while at least half of its cells are, and says how many were: of
// four cells two are enough, and one is not.
func TestRegionKnownWhileHalfIs(t *testing.T) {
	for known := range 5 {
		s := newStory(t, bed(2, 4, above("back.peak", 32, 0)))
		values := []float64{40, 40, 40, 40, 10, 10, 10, 10}
		for i := known; i < 4; i++ {
			values[i] = math.NaN()
		}
		s.scan(0, 0, values...)
		s.scan(0, time.Second, values...)
		s.Finish()
		if raised := len(s.lines) > 0; raised != (known >= 2) {
			t.Errorf("with %d of 4 known: %v", known, s.lines)
		}
		for _, sig := range s.Signals(0) {
			if sig.Name != "back.peak" {
				continue
			}
			if sig.Known != known || math.IsNaN(sig.Value) != (known < 2) || known >= 2 && sig.Value != 40 {
				t.Errorf("with %d of 4 known: %+v", known, sig)
			}
		}
	}
}

// A reading lasts for stale_after and not a nanosecond longer: of one alone 3 s can be
// held, no more, and what it raised is unknown from there on, for however long.
func TestAReadingLastsAsLongAsItIsFresh(t *testing.T) {
	for _, c := range []struct {
		on   time.Duration
		want []string
	}{
		{0, []string{"0s raised bed-4~tight~mat", "3s unknown bed-4~tight~mat"}},
		{3*time.Second - 1, []string{"2.999999999s raised bed-4~tight~mat", "3s unknown bed-4~tight~mat"}},
		{3 * time.Second, []string{"3s raised bed-4~tight~mat", "3s unknown bed-4~tight~mat"}},
		{3*time.Second + 1, nil},
	} {
		s := newStory(t, bed(1, 2, above("mat.peak", 32, c.on)))
		s.scan(0, 0, 40, 30)
		for _, sig := range s.Signals(0) {
			if sig.Name == "mat.peak" && (sig.Value != 40 || sig.Until != sample.Instant(3*time.Second)) {
				t.Errorf("mat.peak is %+v, want 40 until 3 s", sig)
			}
		}
		for _, at := range []time.Duration{3 * time.Second, 4 * time.Second, time.Hour} {
			s.Tick(sample.Instant(at))
		}
		s.expect(t, c.want...)
	}
}
