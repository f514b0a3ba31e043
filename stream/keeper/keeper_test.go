package keeper_test

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/calib"
	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/keeper"
	"weald/stream/record"
)

func wardPlan() (*rules.Plan, []*calib.Converter) {
	limit := 32.0
	plan := &rules.Plan{
		Sources: []rules.Source{
			{ID: "a/mat", Channels: 4, StaleAfter: 3 * time.Second, Calibrated: true},
			{ID: "b/leg", Channels: 1, StaleAfter: 2 * time.Second, Calibrated: true},
		},
		Places: []rules.Place{
			{ID: "bed-1", Kind: rules.Bed, Mat: &rules.Mat{Source: 0, Rows: 2, Columns: 2, PitchMM: [2]float64{25, 25}, LoadedAbove: 20,
				Regions: []rules.Region{{ID: "back", Cells: []int{0, 1}}, {ID: "heels", Cells: []int{2, 3}}}}},
			{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{{ID: "ankle", Channels: []rules.Channel{{Source: 1}}}}},
		},
		Rules: []rules.Rule{
			{ID: "cells", Limit: &rules.Limit{Watch: "mat.pressure", Above: &limit}, OnDelay: 3 * time.Second, OffDelay: time.Second, Latched: true, EscalateAfter: 4 * time.Second, ForgetAfter: 10 * time.Second, Priority: alert.Low},
			{ID: "tight", Limit: &rules.Limit{Watch: "ankle.pressure", Above: &limit}, OnDelay: 2 * time.Second, ForgetAfter: 10 * time.Second, Priority: alert.High},
		},
	}
	mat, err := calib.NewConverter(calib.Counts, 4, []calib.Line{{Slope: 0.1, Offset: -2}})
	if err != nil {
		panic(err)
	}
	leg, err := calib.NewConverter(calib.MMHg, 1, nil)
	if err != nil {
		panic(err)
	}
	return plan, []*calib.Converter{mat, leg}
}

// wardKeeper is a keeper of that ward that has taken a record up, by some clock.
func wardKeeper(t *testing.T, j journal.Journal, now func() sample.Instant) (*keeper.Keeper, *rules.Plan) {
	t.Helper()
	plan, converters := wardPlan()
	resumed, err := keeper.Resume(t.Context(), j, plan, keeper.NewReviver(plan, converters), slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	return keeper.New(j, plan, resumed, keeper.NewReviver(plan, converters), 1, now, slog.New(slog.DiscardHandler)), plan
}

// wallClock is the clock of a bubble, in one.
func wallClock() sample.Instant { return sample.At(time.Now()) }

// A life is one run of a daemon, without its shell.
type life struct {
	t       *rapid.T
	plan    *rules.Plan
	engine  *rules.Engine
	keeper  *keeper.Keeper
	ord     uint64
	reviver *keeper.Reviver
	found   []alert.Event
	told    []string
	resumed *keeper.Resumed
	came    map[string][]sample.Instant // by source, of all lives; nil where nobody asks
	slow    [2]time.Duration            // the clocks of what is at the two places
}

func (l *life) Alert(e alert.Event)       { l.found = append(l.found, e) }
func (*life) Updated(int, sample.Instant) {}
func (*life) Late(int, *sample.Scan)      {}

func line(e *alert.Event) string {
	return fmt.Sprint(e.At, e.What, e.ID(), e.State, e.Tier, e.Who, e.Text)
}

func begin(t *rapid.T, j journal.Journal) *life {
	plan, converters := wardPlan()
	l := &life{t: t, plan: plan, reviver: keeper.NewReviver(plan, converters)}
	r, err := keeper.Resume(context.Background(), j, plan, keeper.NewReviver(plan, converters), slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	r.Sink.To = l
	l.engine, l.ord, l.found, l.resumed = r.Engine, r.Ord, r.New, r
	l.keeper = keeper.New(j, plan, r, keeper.NewReviver(plan, converters), 1, func() sample.Instant { return 0 }, slog.New(slog.DiscardHandler))
	if rapid.Bool().Draw(t, "in shares") {
		l.keeper.InShares()
	}
	l.settle()
	return l
}

// settle keeps and tells what was found.
func (l *life) settle() {
	if len(l.found) == 0 {
		return
	}
	took, err := l.keeper.Commit(l.ord+1, l.found, l.state)
	if err != nil {
		l.t.Fatal(err)
	}
	if took {
		l.ord++
	}
	for i := range l.found {
		l.told = append(l.told, line(&l.found[i]))
	}
	l.found = nil
}

// place returns the index of a place.
func (l *life) place(id string) int {
	return slices.IndexFunc(l.plan.Places, func(p rules.Place) bool { return p.ID == id })
}

// state is the pipeline's way to ask how a place stands.
func (l *life) state(place string) []byte { return l.engine.SnapshotPlace(l.place(place), nil) }

// scan gives a scan of raw readings to the record and to the engine.
func (l *life) scan(source int, at sample.Instant, raw []float64) {
	s, ok := l.reviver.Revive(l.plan.Sources[source].ID, &record.Scan{At: at.Add(-l.slow[source]), Arrived: at, Rail: math.NaN(), Raw: raw})
	if !ok {
		l.t.Fatal("not revived")
	}
	if id := l.plan.Sources[source].ID; l.came != nil {
		l.came[id] = append(l.came[id], at)
	}
	l.ord++
	l.keeper.Scan(l.ord, s)
	l.engine.Scan(s)
	l.settle()
}

// parted checks that a start knows up to where the record has all scans of each source, and
// from where on none.
func (l *life) parted(j journal.Journal, came map[string][]sample.Instant) {
	kept := map[string]map[sample.Instant]bool{}
	for in, err := range j.Inputs(context.Background(), 1, max(l.ord, 1)) {
		if err != nil {
			l.t.Fatal(err)
		}
		if in.Scan != nil {
			if kept[in.Source] == nil {
				kept[in.Source] = map[sample.Instant]bool{}
			}
			kept[in.Source][in.Scan.Arrived] = true
		}
	}
	for source, all := range came {
		for _, at := range all {
			if up := l.resumed.Arrived(source); (at <= up) != kept[source][at] {
				l.t.Fatalf("of %s the scan of %v is kept: %v; the start has all up to %v", source, at, kept[source][at], up)
			}
		}
		came[source] = slices.DeleteFunc(all, func(at sample.Instant) bool { return !kept[source][at] }) // here they do not come again
	}
}

// tick does what the pipeline does between scans.
func (l *life) tick(now sample.Instant) {
	for i := range l.plan.Places {
		if now := now.Add(-l.slow[i]); l.engine.NextPlace(i) <= now {
			l.ord++
			l.keeper.Tick(l.ord, i, now)
			l.engine.TickPlace(i, now)
			l.settle()
		}
	}
}

// act does what a person does, as the pipeline would, and reports whether it was
// kept. A daemon that is killed then has not done it yet.
func (l *life) act(k alert.Key, a alert.Action, killed bool) bool {
	place := l.place(k.Place)
	if l.engine.Permits(place, k, a) != nil {
		return false
	}
	l.ord++
	if err := l.keeper.Act(l.ord, k, a); err != nil {
		l.t.Fatal(err)
	}
	if killed {
		return true
	}
	if err := l.engine.Act(place, k, a); err != nil {
		l.t.Fatalf("permitted, and then %v", err)
	}
	l.settle()
	return true
}

// transitions returns all changes of alerts in a record.
func transitions(t *rapid.T, j journal.Journal) (all []alert.Event) {
	for e, err := range j.Entries(context.Background(), journal.Query{Kinds: []record.Kind{record.KindTransition}}) {
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, e.Body.(record.Transition).Event)
	}
	return all
}

// subjects are the alerts of wardPlan.
var subjects = []alert.Key{
	{Place: "bed-1", Rule: "cells", Subject: "back"}, {Place: "bed-1", Rule: "cells", Subject: "heels"},
	{Place: "bench-1", Rule: "tight", Subject: "ankle"},
}

// A cutting journal takes no readings after some calls, and snapshots perhaps as former
// versions wrote them.
type cutting struct {
	journal.Journal
	left   int
	former bool
}

func (c *cutting) PutSnapshot(ctx context.Context, s record.Snapshot) error {
	if c.former {
		s.Body = keeper.Former(s.Body)
	}
	return c.Journal.PutSnapshot(ctx, s)
}

func (c *cutting) AppendReadings(ctx context.Context, blocks []record.Block, ticks []record.Tick) error {
	if c.left == 0 {
		return journal.ErrBroken
	}
	c.left--
	return c.Journal.AppendReadings(ctx, blocks, ticks)
}

// However often a daemon is killed, and wherever between two inputs: the record
// has every alert that anybody was told, and everything that people did about
// them, once, and judged again from the beginning it gives just those.
func TestKillsLoseAndDoubleNothing(t *testing.T) {
	alerts, replayed, acted, cut := 0, 0, 0, 0
	tried.Check(t, tried.All(tried.Count(&alerts, 50), tried.Count(&acted, 50), tried.Count(&cut, 10)), func(t *rapid.T) {
		j := &cutting{new(journaltest.Memory), math.MaxInt, rapid.Bool().Draw(t, "former snapshots")}
		var told []string
		came := map[string][]sample.Instant{}
		at := sample.Instant(0)
		for range rapid.IntRange(1, 4).Draw(t, "lives") {
			l := begin(t, j)
			l.parted(j, came)
			l.came = came
		life:
			for range rapid.IntRange(0, 40).Draw(t, "inputs") {
				at = at.Add(time.Duration(rapid.IntRange(1, 1500).Draw(t, "later")) * time.Millisecond)
				if rapid.Bool().Draw(t, "tick") {
					l.tick(at)
				}
				if rapid.Bool().Draw(t, "mat") {
					raw := make([]float64, 4)
					for i := range raw {
						raw[i] = float64(rapid.IntRange(300, 380).Draw(t, "count"))
					}
					l.scan(0, at, raw)
				} else {
					l.scan(1, at, []float64{float64(rapid.IntRange(28, 36).Draw(t, "mmHg"))})
				}
				ahead := time.Duration(rapid.IntRange(0, 5).Draw(t, "ahead")) * time.Second // the place's clock
				if j.former {
					ahead = 0
				}
				for n := 0; rapid.IntRange(0, 3).Draw(t, "somebody") == 0 && !(j.former && n > 0); n++ { // by those no two equal changes are told apart
					a := alert.Action{Verb: rapid.SampledFrom(alert.Verbs()).Draw(t, "verb"), At: at.Add(-ahead), Who: "K-07", Why: "bath",
						Until: at.Add(time.Duration(rapid.IntRange(1, 20000).Draw(t, "shelf")) * time.Millisecond)}
					killed := rapid.IntRange(0, 9).Draw(t, "killed") == 0
					if l.act(rapid.SampledFrom(subjects).Draw(t, "alert"), a, killed) {
						acted++
						if killed {
							told = append(told, l.told...)
							l.told = nil
							break life
						}
					}
				}
				switch rapid.IntRange(0, 10).Draw(t, "keep") {
				case 9, 10: // the disk takes one share and not the next; the daemon is killed then, or not
					l.keeper.InShares()
					j.left = 1
					if l.keeper.Flush(t.Context()) != nil {
						cut++
					}
					j.left = math.MaxInt
					if rapid.Bool().Draw(t, "killed between shares") {
						break life
					}
				case 0, 1, 2:
					if err := l.keeper.Flush(t.Context()); err != nil {
						t.Fatal(err)
					}
				case 3:
					err := l.keeper.Snapshot(t.Context(), func(_ context.Context, f func(uint64, int, func(int, []byte) []byte)) error {
						f(l.ord, len(l.plan.Places), l.engine.SnapshotPlace)
						return nil
					})
					if err != nil {
						t.Fatal(err)
					}
				}
			}
			told = append(told, l.told...) // and then it is killed: what was not kept is gone
		}
		told = append(told, begin(t, j).told...) // the next start tells what a kill left untold

		var kept []string
		for _, e := range transitions(t, j) {
			kept = append(kept, line(&e))
		}
		if !slices.Equal(kept, told) {
			t.Fatalf("kept %q\ntold %q", kept, told)
		}
		var again life
		plan, converters := wardPlan()
		engine := rules.NewEngine(plan, &again)
		head, err := j.Head(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		replay, err := keeper.Feed(t.Context(), j, plan, keeper.NewReviver(plan, converters), 1, head.Ord, engine)
		if err != nil {
			t.Fatal(err)
		}
		var judged []string
		for i := range again.found {
			judged = append(judged, line(&again.found[i]))
		}
		if !slices.Equal(judged, told) {
			t.Fatalf("judged again %q\ntold %q", judged, told)
		}
		alerts += len(told)
		replayed += replay.Inputs
	})
	t.Logf("%d changes of alerts, %d inputs judged again, %d actions, %d times one share without the next", alerts, replayed, acted, cut)
}
