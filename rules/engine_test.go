package rules_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
)

// A story is an engine with a sink that writes down what it is told.
type story struct {
	*rules.Engine
	plan  *rules.Plan
	lines []string
	late  int
	texts []string
}

func newStory(t testing.TB, plan *rules.Plan) *story {
	t.Helper()
	if problems := plan.Check(); len(problems) > 0 {
		t.Fatalf("the plan is wrong: %v", problems)
	}
	s := &story{plan: plan}
	s.Engine = rules.NewEngine(plan, s)
	return s
}

func (s *story) Alert(e alert.Event) {
	s.lines = append(s.lines, fmt.Sprintf("%v %s %s", time.Duration(e.At), e.What, e.ID()))
	s.texts = append(s.texts, e.Text)
}
func (s *story) Updated(int, sample.Instant) {}
func (s *story) Late(int, *sample.Scan)      { s.late++ }

func (s *story) scan(source int, at time.Duration, values ...float64) {
	s.Scan(&sample.Scan{Source: source, At: sample.Instant(at), Arrived: sample.Instant(at), Values: values})
}

func (s *story) expect(t testing.TB, want ...string) {
	t.Helper()
	if got := strings.Join(s.lines, "\n"); got != strings.Join(want, "\n") {
		t.Errorf("happened:\n%s\nwant:\n%s", got, strings.Join(want, "\n"))
	}
	s.lines = nil
}

func ptr(v float64) *float64 { return &v }

func above(watch string, limit float64, on time.Duration) rules.Rule {
	return rules.Rule{
		ID: "tight", Limit: &rules.Limit{Watch: watch, Above: ptr(limit)},
		OnDelay: on, ForgetAfter: rules.DefaultForgetAfter, Priority: alert.Medium,
	}
}

// wrapOfTwoSources is a plan with one site of two channels, each on a source of its own.
func wrapOfTwoSources(rule rules.Rule) *rules.Plan {
	return &rules.Plan{
		Sources: []rules.Source{
			{ID: "a/leg", Channels: 1, StaleAfter: time.Second, Calibrated: true, U: []float64{3}},
			{ID: "b/leg", Channels: 1, StaleAfter: time.Second, Calibrated: true, U: []float64{4}},
		},
		Places: []rules.Place{{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{
			{ID: "ankle", Channels: []rules.Channel{{Source: 0}, {Source: 1}}},
		}}},
		Rules: []rules.Rule{rule},
	}
}

func bed(rows, columns int, rs ...rules.Rule) *rules.Plan {
	half := rows * columns / 2
	cells := func(from, to int) (c []int) {
		for i := from; i < to; i++ {
			c = append(c, i)
		}
		return c
	}
	return &rules.Plan{
		Sources: []rules.Source{{ID: "hub/mat", Channels: rows * columns, StaleAfter: 3 * time.Second, Calibrated: true}},
		Places: []rules.Place{{ID: "bed-4", Kind: rules.Bed, Mat: &rules.Mat{
			Rows: rows, Columns: columns, PitchMM: [2]float64{25, 25}, LoadedAbove: 20,
			Regions: []rules.Region{{ID: "back", Cells: cells(0, half)}, {ID: "heels", Cells: cells(half, 2*half)}},
		}}},
		Rules: rs,
	}
}

func TestDueAlertsAreRaisedByTickAtTheirExactInstant(t *testing.T) {
	s := newStory(t, bed(1, 2, above("mat.pressure", 32, 2500*time.Millisecond)))
	s.scan(0, 0, 40, 0)
	s.scan(0, time.Second, 40, 0)
	if got, want := s.Next(), sample.Instant(2700*time.Millisecond); got != want {
		t.Errorf("Next() = %v, want %v: 200 ms after the instant", got, want)
	}
	s.Tick(s.Next() - 1)
	s.expect(t)
	s.Tick(s.Next())
	s.expect(t, "2.5s raised bed-4~tight~back")
	// The silence of a raised alert is told by tick as well.
	s.Tick(s.Next())
	s.expect(t, "4s unknown bed-4~tight~back")
	if s.Next() != sample.Never {
		t.Errorf("Next() = %v with nothing left to tell", s.Next())
	}
	s.scan(0, 3900*time.Millisecond, 0, 0)
	if s.late != 1 {
		t.Errorf("%d late scans, want 1: 3.9 s is before the 4 s that were told", s.late)
	}
	s.scan(0, 9*time.Second, 0, 0)
	s.expect(t, "9s cleared bed-4~tight~back")
}

func TestCellsRaiseForTheirRegion(t *testing.T) {
	rule := above("mat.pressure", 32, 10*time.Second)
	rule.OffDelay = 2 * time.Second
	s := newStory(t, bed(2, 2, rule))
	for at := range 30 {
		values := []float64{0, 0, 0, 0}
		if at < 15 {
			values[0] = 50 // raised at 10, cleared at 17
		}
		if at >= 3 && at < 20 {
			values[1] = 50 // raised at 13, cleared at 22: the region follows this one
		}
		if at >= 4 && at%2 == 0 {
			values[2] = 50 // never ten seconds on end
		}
		s.scan(0, time.Duration(at)*time.Second, values...)
	}
	s.Finish()
	s.expect(t, "10s raised bed-4~tight~back", "22s cleared bed-4~tight~back")
	if want := "back above 32 mmHg for 10 s: 50 mmHg when raised, cell in row 1, column 1"; s.texts[0] != want {
		t.Errorf("the alert says %q, want %q", s.texts[0], want)
	}
}

func TestSiteOfTwoSources(t *testing.T) {
	s := newStory(t, wrapOfTwoSources(above("ankle.pressure", 32, 2*time.Second)))
	// b is slower by 70 ms and older by 20: nothing is late.
	for i := range 40 {
		at := time.Duration(i) * 100 * time.Millisecond
		s.Scan(&sample.Scan{Source: 0, At: sample.Instant(at), Arrived: sample.Instant(at), Values: []float64{40}})
		at += 80 * time.Millisecond
		s.Scan(&sample.Scan{Source: 1, At: sample.Instant(at - 20*time.Millisecond), Arrived: sample.Instant(at), Values: []float64{30}})
	}
	s.Finish()
	if s.late != 0 {
		t.Errorf("%d late scans, want none", s.late)
	}
	// Alone, a reads 40 and is half of the members; with b the mean is 35.
	s.expect(t, "2s raised bench-1~tight~ankle")
	sig := s.Signals(0)[0]
	if sig.Value != 35 || sig.Known != 2 || math.Abs(sig.U-2.5) > 1e-12 {
		t.Errorf("ankle is %+v, want 35 ± 2.5 (half of the root of 3² + 4²) from 2", sig)
	}
}

// Of two sources one falls silent: half of the members is still known.
func TestSiteKnownWhileHalfIs(t *testing.T) {
	s := newStory(t, wrapOfTwoSources(above("ankle.pressure", 32, 5*time.Second)))
	s.scan(0, 0, 40)
	s.scan(1, 0, 60)
	for at := time.Second; at <= 8*time.Second; at += time.Second {
		s.scan(0, at, 40)
	}
	s.Finish()
	s.expect(t, "5s raised bench-1~tight~ankle")
	if sig := s.Signals(0)[0]; sig.Known != 1 || sig.Value != 40 {
		t.Errorf("ankle is %+v, want 40 from one member", sig)
	}
}

func TestUncalibratedNeverRaises(t *testing.T) {
	s := newStory(t, bed(1, 2, above("mat.pressure", 32, 0), above("mat.peak", 32, 0)))
	for at := range 100 {
		s.scan(0, time.Duration(at)*time.Second, math.NaN(), math.NaN())
	}
	s.Finish()
	s.expect(t)
	for _, sig := range s.Signals(0) {
		if !sample.IsUnknown(sig.Value) {
			t.Errorf("%s is %v, want unknown", sig.Name, sig.Value)
		}
	}
}

// Equal input gives equal output, and a tick more or less changes nothing but
// when it is told.
func TestTicksTellNothingNew(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rule := above("mat.pressure", 32, time.Duration(rapid.IntRange(0, 9).Draw(t, "on"))*time.Second)
		rule.OffDelay = time.Duration(rapid.IntRange(0, 9).Draw(t, "off")) * time.Second
		plan := bed(1, 4, rule, above("heels.peak", 34, 2*time.Second))
		plan.Rules[1].ID = "peak"
		lazy, eager := &story{}, &story{}
		lazy.Engine, eager.Engine = rules.NewEngine(plan, lazy), rules.NewEngine(plan, eager)
		at := time.Duration(0)
		for range rapid.IntRange(1, 30).Draw(t, "n") {
			at += time.Duration(rapid.IntRange(1, 5000).Draw(t, "step")) * time.Millisecond
			values := make([]float64, 4)
			for i := range values {
				values[i] = float64(rapid.IntRange(28, 38).Draw(t, "v"))
			}
			for next := eager.Next(); next <= sample.Instant(at); next = eager.Next() {
				eager.Tick(next)
			}
			lazy.scan(0, at, values...)
			eager.scan(0, at, values...)
		}
		lazy.Finish()
		eager.Finish()
		if eager.late != 0 {
			t.Fatalf("%d scans came late", eager.late)
		}
		if got, want := strings.Join(eager.lines, "\n"), strings.Join(lazy.lines, "\n"); got != want {
			t.Fatalf("with ticks:\n%s\nwithout:\n%s", got, want)
		}
	})
}

// The grid of 4 x 4 cells is invented; the expected values are arithmetic:
// ISO/TR 16840-9 has the terms, the 5 mmHg for contact is common practice.
func TestMatSignals(t *testing.T) {
	s := newStory(t, bed(4, 4))
	s.scan(0, 0, 10, 20, 20, 10, 20, 80, 90, 20, 20, 70, 60, 20, 10, 20, 20, 10)
	want := map[string]float64{"mat.peak": 90, "mat.mean": 31.25, "mat.area": 100, "mat.load": 41.6632, "back.peak": 90, "heels.peak": 70}
	for _, sig := range s.Signals(0) {
		if w, ok := want[sig.Name]; ok && math.Abs(sig.Value-w) > 5e-4 {
			t.Errorf("%s is %v %s, want %v", sig.Name, sig.Value, sig.Unit, w)
		}
		delete(want, sig.Name)
	}
	if len(want) > 0 {
		t.Errorf("no signals %v", want)
	}
}
