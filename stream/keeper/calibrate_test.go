package keeper_test

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/calib"
	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
	calibration "weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/journal/journaltest"
	"weald/stream/keeper"
	"weald/stream/record"
)

// A calibrated is a run of a daemon whose channels are calibrated meanwhile. It
// writes down every signal and alert, to the bit.
type calibrated struct {
	engine  *rules.Engine
	keeper  *keeper.Keeper
	reviver *keeper.Reviver
	lines   []string
}

func (c *calibrated) Alert(e alert.Event) { c.lines = append(c.lines, line(&e)) }
func (c *calibrated) Updated(place int, at sample.Instant) {
	for _, s := range c.engine.Signals(place) {
		c.lines = append(c.lines, fmt.Sprint(at, s.Name, math.Float64bits(s.Value), math.Float64bits(s.U), s.Extrapolated, s.Known, s.Dropped))
	}
}
func (*calibrated) Late(int, *sample.Scan) {}

func (c *calibrated) Scan(s *sample.Scan) { c.engine.Scan(s) }
func (c *calibrated) TickPlace(place int, now sample.Instant) {
	c.engine.TickPlace(place, now)
}
func (c *calibrated) Mark(place int, word string, at sample.Instant) {
	c.engine.Mark(place, word, at)
}
func (c *calibrated) Act(place int, k alert.Key, a alert.Action) error {
	return c.engine.Act(place, k, a)
}

// bench is a limb with three sensors on a source of counts, one of which has a
// line in the configuration.
func bench() (*rules.Plan, []*calib.Converter) {
	limit := 30.0
	plan := &rules.Plan{
		Sources: []rules.Source{{ID: "trolley/leg", Channels: 3, StaleAfter: 3 * time.Second, Calibrated: true, U: []float64{2, math.NaN(), math.NaN()}}},
		Places: []rules.Place{{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{
			{ID: "ankle", Channels: []rules.Channel{{Index: 0}, {Index: 1}, {Index: 2}}},
		}}},
		Rules: []rules.Rule{{
			ID: "tight", Limit: &rules.Limit{Watch: "ankle.pressure", Above: &limit}, Certainty: 0.8,
			OnDelay: 2 * time.Second, ForgetAfter: time.Minute, Priority: alert.Low,
		}},
	}
	converter, err := calib.NewConverter(calib.Counts, 3, []calib.Line{{Slope: 0.05, U: 2}, calib.None, calib.None})
	if err != nil {
		panic(err)
	}
	return plan, []*calib.Converter{converter}
}

// recordOf is a calibration with branches and creep, so that what was before
// matters.
func recordOf(channel int, gain float64) *calibration.Record {
	up, err := curve.New(curve.Quadratic, -2, 0.02*gain, 5e-6)
	if err != nil {
		panic(err)
	}
	down, err := curve.New(curve.Quadratic, -3, 0.02*gain, 5e-6)
	if err != nil {
		panic(err)
	}
	made := time.Unix(0, 0)
	return &calibration.Record{
		Version: calibration.Version, Bridge: "trolley", Source: "leg", Channel: channel, At: made, By: "K-07",
		Rows: []figures.Row{{}}, Remarks: []string{"repeatability is 3 %"}, Verdict: calibration.Accepted, ValidUntil: made.AddDate(1, 0, 0),
		Calibration: curve.Calibration{
			Version: curve.Version, Loading: up, Unloading: &down, Width: 1,
			Raw: curve.Range{Low: 100, High: 2000}, MMHg: curve.Range{Low: 0, High: 60},
			U: curve.Uncertainty{At: []float64{0, 60}, Fit: []float64{0.4, 0.6}, Hysteresis: []float64{0.5, 1},
				Repeatability: []float64{0.3, 0.5}, DriftPerDay: 0.5, Reference: 0.5},
			Creep: &curve.Creep{PerDecade: 0.03, Dwell: 30, U: 0.005},
		},
	}
}

func start(t *rapid.T, j *journaltest.Memory) *calibrated {
	plan, converters := bench()
	c := &calibrated{reviver: keeper.NewReviver(plan, converters)}
	r, err := keeper.Resume(context.Background(), j, plan, c.reviver, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	r.Sink.To, c.engine = c, r.Engine
	c.keeper = keeper.New(j, plan, r, c.reviver, 1, func() sample.Instant { return 1 }, slog.New(slog.DiscardHandler))
	return c
}

// Calibrations that come into force while counts arrive are inputs: after any
// restarts, with a snapshot or without, the record converts every span of counts
// by the record that applied then, and gives the same signals and alerts again.
func TestCalibrationsAreInputs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ctx := context.Background()
		j := new(journaltest.Memory)
		live, ord, at := start(t, j), uint64(0), sample.Instant(0)
		var lines []string
		_, converters := bench()
		raw := []float64{500, 500, 500}
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			switch rapid.IntRange(0, 13).Draw(t, "what") {
			case 0, 1:
				r := recordOf(rapid.IntRange(0, 2).Draw(t, "channel"), rapid.Float64Range(0.8, 1.2).Draw(t, "gain"))
				ord++
				if err := live.keeper.Calibrate(ord, r); err != nil {
					t.Fatal(err)
				}
				if err := live.reviver.Applied().Apply(r); err != nil {
					t.Fatal(err)
				}
			case 2:
				z := &calibration.Zeroing{Bridge: "trolley", Source: "leg", Channels: []int{rapid.IntRange(0, 2).Draw(t, "channel")}, Undo: rapid.Bool().Draw(t, "undo")}
				if !z.Undo {
					z.Shown = []float64{rapid.Float64Range(-5, 5).Draw(t, "shown")}
				}
				ord++
				if err := live.keeper.Zero(ord, z); err != nil {
					t.Fatal(err)
				}
				if err := live.reviver.Applied().Zero(z); err != nil {
					t.Fatal(err)
				}
			case 13: // what did not come into force is no input, whatever it holds
				r := recordOf(rapid.IntRange(0, 2).Draw(t, "channel"), 1.7)
				r.Verdict = calibration.Rejected
				if _, err := j.Append(ctx, record.Entry{At: at, Written: at, Body: record.Refused{Refused: *calibration.Reject(r)}}); err != nil {
					t.Fatal(err)
				}
			case 3:
				if rapid.Bool().Draw(t, "snapshot") {
					if err := live.keeper.Snapshot(ctx, func(_ context.Context, f func(uint64, int, func(int, []byte) []byte)) error {
						f(ord, 1, live.engine.SnapshotPlace)
						return nil
					}); err != nil {
						t.Fatal(err)
					}
				}
				if err := live.keeper.Flush(ctx); err != nil {
					t.Fatal(err)
				}
				lines = append(lines, live.lines...)
				live = start(t, j)
			default:
				at = at.Add(time.Duration(rapid.SampledFrom([]int{1, 1, 1, 1, 7, 100000}).Draw(t, "seconds")) * time.Second)
				for i := range raw {
					raw[i] += rapid.Float64Range(-300, 320).Draw(t, "change")
				}
				s := &sample.Scan{At: at, Arrived: at, Rail: 4095, Raw: slices.Clone(raw), Values: make([]float64, 3)}
				converters[0].Convert(s.Values, s.Raw, 0, s.Rail)
				if rapid.IntRange(0, 5).Draw(t, "withheld") == 0 {
					s.Withheld, s.Values[1] = []int{1}, math.NaN()
				}
				live.reviver.Applied().Convert(s)
				ord++
				live.keeper.Scan(ord, s)
				live.engine.Scan(s)
			}
		}
		if err := live.keeper.Flush(ctx); err != nil {
			t.Fatal(err)
		}
		lines = append(lines, live.lines...)

		plan, converters := bench()
		again := &calibrated{reviver: keeper.NewReviver(plan, converters)}
		again.engine = rules.NewEngine(plan, again)
		if _, err := keeper.Feed(ctx, j, plan, again.reviver, 1, ord, again); err != nil {
			t.Fatal(err)
		}
		if got, want := strings.Join(again.lines, "\n"), strings.Join(lines, "\n"); got != want {
			t.Fatalf("from the record:\n%s\nlive:\n%s", got, want)
		}
	})
}

// A rehearsal that begins in the midst of a record has the records that were in
// force there.
func TestAPieceOfARecordHasItsCalibrations(t *testing.T) {
	j := new(journaltest.Memory)
	r := recordOf(1, 1)
	if _, err := j.Append(t.Context(), record.Entry{Ord: 3, At: 1, Written: 1, Body: record.Calibration{Record: *r}}); err != nil {
		t.Fatal(err)
	}
	for first, want := range map[uint64]bool{3: true, 4: true, 1: true} {
		plan, converters := bench()
		reviver := keeper.NewReviver(plan, converters)
		if _, err := keeper.Feed(t.Context(), j, plan, reviver, first, 9, rules.NewEngine(plan, &calibrated{})); err != nil {
			t.Fatal(err)
		}
		if (reviver.Applied().InForce(0, 1) != "") != want {
			t.Errorf("from %d on the calibration of 3 is in force: %v", first, !want)
		}
	}
}
