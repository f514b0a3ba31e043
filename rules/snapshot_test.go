package rules_test

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules"
)

// snapshotPlan has everything that has a state: sites on two sources, cells,
// aggregates, a gate, delays of every kind.
func snapshotPlan() *rules.Plan {
	plan := bed(2, 2, above("mat.pressure", 32, 3*time.Second), above("heels.peak", 34, 2*time.Second), above("ankle.pressure", 33, 4*time.Second))
	for i, id := range []string{"cells", "peak", "site"} {
		r := &plan.Rules[i]
		r.ID, r.OffDelay, r.ResetsAfter, r.ForgetAfter = id, 2*time.Second, time.Second, 6*time.Second
		r.Limit.Deadband = 2
	}
	plan.Rules[2].While = "mat.peak < 37"
	plan.Sources = append(plan.Sources,
		rules.Source{ID: "a/leg", Channels: 1, StaleAfter: 2 * time.Second, Calibrated: true},
		rules.Source{ID: "b/leg", Channels: 1, StaleAfter: 2 * time.Second, Calibrated: true})
	plan.Places[0].Sites = []rules.Site{{ID: "ankle", Channels: []rules.Channel{{Source: 1}, {Source: 2}}}}
	return plan
}

// step feeds one random input.
func step(t *rapid.T, at *time.Duration, to ...*story) {
	*at += time.Duration(rapid.IntRange(0, 2500).Draw(t, "later")) * time.Millisecond
	source := rapid.IntRange(0, 2).Draw(t, "source")
	s := sample.Scan{Source: source, At: sample.Instant(*at - time.Duration(rapid.IntRange(0, 300).Draw(t, "delay"))*time.Millisecond), Arrived: sample.Instant(*at)}
	for range []int{4, 1, 1}[source] {
		v := float64(rapid.IntRange(28, 38).Draw(t, "v"))
		if v == 28 {
			v = math.NaN()
		}
		s.Values = append(s.Values, v)
	}
	tick := rapid.Bool().Draw(t, "tick")
	for _, e := range to {
		if tick {
			e.Tick(sample.Instant(*at))
		}
		e.Scan(&s)
	}
}

// An engine that takes up a snapshot goes on exactly as the one that made it.
func TestSnapshotGoesOnAsIfNothingHadHappened(t *testing.T) {
	changes := 0
	rapid.Check(t, func(t *rapid.T) {
		plan := snapshotPlan()
		straight := &story{}
		straight.Engine = rules.NewEngine(plan, straight)
		at := time.Duration(0)
		for range rapid.IntRange(0, 40).Draw(t, "before") {
			step(t, &at, straight)
		}
		straight.lines, straight.texts = nil, nil
		snap := straight.SnapshotPlace(0, nil)
		restored := &story{}
		restored.Engine = rules.NewEngine(plan, restored)
		if err := restored.RestorePlace(0, snap); err != nil {
			t.Fatal(err)
		}
		if again := restored.SnapshotPlace(0, nil); !bytes.Equal(again, snap) {
			t.Fatalf("the snapshot of what was restored differs:\n%x\n%x", snap, again)
		}
		if got, want := restored.Next(), straight.Next(); got != want {
			t.Fatalf("next %v, want %v", got, want)
		}
		for range rapid.IntRange(1, 40).Draw(t, "after") {
			step(t, &at, straight, restored)
		}
		straight.Finish()
		restored.Finish()
		if got, want := strings.Join(append(restored.lines, restored.texts...), "\n"), strings.Join(append(straight.lines, straight.texts...), "\n"); got != want {
			t.Fatalf("restored:\n%s\nstraight:\n%s", got, want)
		}
		changes += len(straight.lines)
	})
	if changes < 50 {
		t.Errorf("only %d changes: too tame to prove anything", changes)
	}
}

// A two-hour hold goes on over a restart; the time in between is unknown.
func TestATwoHourHoldSurvivesARestart(t *testing.T) {
	plan := bed(1, 2, above("mat.pressure", 32, 2*time.Hour))
	plan.Rules[0].ForgetAfter = 3 * time.Hour
	first := newStory(t, plan)
	for at := time.Duration(0); at <= 90*time.Minute; at += time.Second {
		first.scan(0, at, 40, 0)
	}
	second := newStory(t, plan)
	if err := second.RestorePlace(0, first.SnapshotPlace(0, nil)); err != nil {
		t.Fatal(err)
	}
	for at := 100 * time.Minute; at <= 140*time.Minute; at += time.Second {
		second.scan(0, at, 40, 0)
	}
	// 90 min and 3 s were held; the rest of the two hours begins at 100 min.
	second.expect(t, "2h9m57s raised bed-4~tight~back")
}

func TestChangedRulesBeginAnewAndOthersGoOn(t *testing.T) {
	plan := bed(1, 2, above("mat.pressure", 32, 10*time.Second), above("mat.peak", 32, 10*time.Second))
	plan.Rules[1].ID = "peak"
	first := newStory(t, plan)
	for at := range 6 {
		first.scan(0, time.Duration(at)*time.Second, 40, 0)
	}
	snap := first.SnapshotPlace(0, nil)
	changed := bed(1, 2, above("mat.pressure", 32, 10*time.Second), above("mat.peak", 33, 10*time.Second), above("back.peak", 32, 5*time.Second))
	changed.Rules[1].ID, changed.Rules[2].ID = "peak", "new"
	second := newStory(t, changed)
	if err := second.RestorePlace(0, snap); err != nil {
		t.Fatal(err)
	}
	for at := 6; at < 20; at++ {
		second.scan(0, time.Duration(at)*time.Second, 40, 0)
	}
	second.expect(t, "10s raised bed-4~tight~back", "11s raised bed-4~new~back", "16s raised bed-4~peak~mat")

	other := bed(2, 1, above("mat.pressure", 32, 10*time.Second))
	if err := newStory(t, other).RestorePlace(0, snap); err == nil {
		t.Error("a snapshot of another place was taken up")
	}
}

// Any bytes at all: an error or a state, never a panic.
func FuzzRestorePlace(f *testing.F) {
	plan := snapshotPlan()
	e := rules.NewEngine(plan, nobody{})
	f.Add(e.SnapshotPlace(0, nil), 0, byte(1))
	for at := range 20 {
		e.Scan(&sample.Scan{Source: at % 3, At: sample.Instant(at * 1e9), Arrived: sample.Instant(at * 1e9), Values: []float64{40, 30, 35, 41}[:[]int{4, 1, 1}[at%3]]})
	}
	f.Add(e.SnapshotPlace(0, nil), 17, byte(0xFF))
	f.Fuzz(func(t *testing.T, b []byte, at int, x byte) {
		if len(b) > 9 {
			b[9+int(uint(at)%uint(len(b)-9))] ^= x
		}
		e := rules.NewEngine(plan, nobody{})
		if e.RestorePlace(0, b) != nil {
			return
		}
		e.Signals(0)
		e.Progress(0, nil)
	})
}

func BenchmarkSnapshotOfAMat(b *testing.B) {
	plan := bed(64, 32, above("mat.pressure", 30, 30*time.Minute))
	e := rules.NewEngine(plan, nobody{})
	s := sample.Scan{Values: make([]float64, 2048)}
	for i := range s.Values {
		s.Values[i] = float64(i % 60)
	}
	for range 20 {
		s.At = s.At.Add(time.Second)
		e.Scan(&s)
	}
	var buf []byte
	for b.Loop() {
		buf = e.SnapshotPlace(0, buf[:0])
	}
	b.ReportMetric(float64(len(buf)), "bytes")
}

// A waiting scan that lacks channels is damage, not something to trip over at
// the next tick.
func TestASnapshotWithAShortScanIsRefused(t *testing.T) {
	plan := snapshotPlan()
	e := rules.NewEngine(plan, nobody{})
	e.Scan(&sample.Scan{Source: 1, At: 0, Arrived: 0, Values: []float64{30}})
	e.Scan(&sample.Scan{Source: 0, At: 1, Arrived: 1, Values: []float64{30, 31, 32, 33}})
	whole := e.SnapshotPlace(0, nil)
	plan.Sources[0].Channels = 5 // what waits has four
	if err := rules.NewEngine(plan, nobody{}).RestorePlace(0, whole); err == nil {
		t.Error("a waiting scan with four of five channels was taken up")
	}
}
