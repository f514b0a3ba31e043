package rules_test

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
	"weald/rules/alert"
	"weald/rules/exposure"
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

// kindsPlan has every kind of rule that is no limit, with settings so small that
// all of it happens within a minute.
func kindsPlan() *rules.Plan {
	plan := leg(rules.Rule{Limit: &rules.Limit{Watch: "calf.residual", Above: ptr(90)}})
	plan.Sources[0].Channels, plan.Sources[0].StaleAfter = 4, 2*time.Second
	plan.Places[0].Sites = append(plan.Places[0].Sites, rules.Site{ID: "left", HeightCM: 50, Channels: []rules.Channel{{Index: 2}}}, rules.Site{ID: "right", HeightCM: 60, Channels: []rules.Channel{{Index: 3}}})
	second := plan.Places[0]
	second.ID, second.Kind = "seat-1", rules.Seat
	plan.Places = append(plan.Places, second)
	fast := seated(20 * time.Second)
	fast.Relief.Lasting, fast.Relief.EmptyFor = 2*time.Second, 4*time.Second
	table := []exposure.Point{{MMHg: 31, Time: 30 * time.Second}, {MMHg: 40, Time: 5 * time.Second}}
	for i, r := range []rules.Rule{
		{Graduation: &rules.Graduation{Ratio: 0.95, Steepest: 0.9}, OffDelay: time.Second},
		{Graduation: &rules.Graduation{Drop: 2}, While: "true"},
		{Exposure: &rules.Exposure{Table: table, Share: 0.3, Floor: 30, Recovery: 5 * time.Second}, ResetsAfter: time.Second, OnDelay: time.Second},
		fast,
		{Rate: &rules.Rate{Watch: "ankle.pressure", Rise: 1, Fall: 1, Per: time.Second, Window: 8 * time.Second}},
		{Drift: &rules.Drift{Site: "ankle", By: 1, Settle: 10 * time.Second}},
		{Swing: &rules.Swing{Site: "ankle", Limit: rules.Limit{Watch: "ankle.swing", Above: ptr(1)}}},
		{Formula: "ankle.pressure > 34 and not (calf.pressure > 36)", OnDelay: 2 * time.Second},
	} {
		r.ID, r.Priority, r.ForgetAfter = string(rune('a'+i)), alert.Low, 6*time.Second
		plan.Rules = append(plan.Rules, r)
	}
	return plan
}

// What every kind of rule has learnt survives a restart: it goes on exactly as
// without one.
func TestSnapshotsOfEveryKind(t *testing.T) {
	told := map[string]int{}
	fewUntil(t, 40, tried.Each(told, 2, "rule", "a", "b", "c", "d", "e", "h"), func(t *rapid.T) {
		plan := kindsPlan()
		if found := plan.Check(); len(found) > 0 {
			t.Fatal(found)
		}
		straight, restored := &story{}, &story{}
		straight.Engine, restored.Engine = rules.NewEngine(plan, straight), rules.NewEngine(plan, restored)
		at := time.Duration(0)
		feed := func(n int, to ...*story) {
			for range n {
				at += time.Duration(rapid.SampledFrom([]int{100, 100, 500, 1000, 2600}).Draw(t, "later")) * time.Millisecond
				base := float64(rapid.SampledFrom([]int{0, 31, 34, 36, 40}).Draw(t, "base"))
				values := make([]float64, 4)
				for i := range values {
					values[i] = base + float64(rapid.IntRange(0, 3).Draw(t, "v"))
					if rapid.IntRange(0, 20).Draw(t, "lost") == 0 {
						values[i] = math.NaN()
					}
				}
				tick := rapid.Bool().Draw(t, "tick")
				for _, s := range to {
					if tick {
						s.Tick(sample.Instant(at))
					}
					s.scan(0, at, values...)
				}
			}
		}
		feed(rapid.IntRange(10, 60).Draw(t, "before"), straight)
		straight.lines, straight.texts = nil, nil
		for place := range plan.Places {
			snap := straight.SnapshotPlace(place, nil)
			if err := restored.RestorePlace(place, snap); err != nil {
				t.Fatal(err)
			}
			if again := restored.SnapshotPlace(place, nil); !bytes.Equal(again, snap) {
				t.Fatalf("the snapshot of what was restored differs at place %d", place)
			}
		}
		if got, want := restored.Next(), straight.Next(); got != want {
			t.Fatalf("next %v, want %v", got, want)
		}
		feed(rapid.IntRange(20, 60).Draw(t, "after"), straight, restored)
		if got, want := strings.Join(restored.lines, "\n"), strings.Join(straight.lines, "\n"); got != want {
			t.Fatalf("restored:\n%s\nstraight:\n%s", got, want)
		}
		if got, want := strings.Join(restored.texts, "\n"), strings.Join(straight.texts, "\n"); got != want {
			t.Fatalf("restored says:\n%s\nstraight:\n%s", got, want)
		}
		for _, line := range straight.lines {
			told[strings.Split(line, "~")[1]]++
		}
	})
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
	tried.Check(t, tried.Count(&changes, 50), func(t *rapid.T) {
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
		rules.Stood("bed-4", b)
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
