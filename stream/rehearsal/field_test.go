package rehearsal_test

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/record"
	"weald/stream/rehearsal"
)

// A field from seconds is what the engine raises over the readings that the
// seconds are of, with a gate and with silences.
func TestAFieldFromSecondsIsWhatTheEngineRaises(t *testing.T) {
	const n = 20000
	r := rand.New(rand.NewPCG(5, 6))
	ankle, calf := make([]float64, n), make([]float64, n)
	level := 30.0
	for i := range ankle {
		if i%97 == 0 {
			level = float64(20 + r.IntN(30))
		}
		ankle[i], calf[i] = level+float64(r.IntN(5)), float64(r.IntN(100))
		if i%1000 < 13 {
			ankle[i] = sample.Unknown
		}
	}
	limit := 32.0
	plan := &rules.Plan{
		Sources: []rules.Source{{ID: "hub/leg", Channels: 2, StaleAfter: time.Second, Calibrated: true}},
		Places: []rules.Place{{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{
			{ID: "ankle", Channels: []rules.Channel{{Index: 0}}}, {ID: "calf", Channels: []rules.Channel{{Index: 1}}}}}},
		Rules: []rules.Rule{{ID: "tight", Limit: &rules.Limit{Watch: "ankle.pressure", Above: &limit, Deadband: 1}, While: "calf.pressure > 5 and wrapped",
			OnDelay: time.Minute, OffDelay: 5 * time.Second, ResetsAfter: 3 * time.Second, ForgetAfter: 10 * time.Second, Priority: alert.Low}},
	}
	// What was kept is what the engine said, by the second.
	kept := map[string][]record.Point{}
	engine := func(plan *rules.Plan, each func(*rules.Engine, sample.Instant)) int {
		var raised raises
		e := rules.NewEngine(plan, &raised)
		for i := range ankle {
			at := sample.Instant(i) * sample.Instant(time.Second)
			e.Scan(&sample.Scan{At: at, Arrived: at, Values: []float64{ankle[i], calf[i]}})
			each(e, at)
		}
		e.Finish()
		return int(raised)
	}
	engine(plan, func(e *rules.Engine, at sample.Instant) {
		for _, s := range e.Signals(0) {
			if v := float32(s.Value); v == v {
				kept[s.Name] = append(kept[s.Name], record.Point{At: at, Min: v, Mean: v, Max: v})
			}
		}
	})
	v, err := plan.Places[0].Vary(&plan.Rules[0])
	if err != nil {
		t.Fatal(err)
	}
	read := func(_ context.Context, signal string, from, to sample.Instant, dst []record.Point) ([]record.Point, error) {
		for _, p := range kept[signal] {
			if p.At >= from && p.At < to {
				dst = append(dst, p)
			}
		}
		return dst, nil
	}
	told := 0.0
	s, err := rehearsal.ReadSeconds(t.Context(), v, 0, sample.Instant(n-1)*sample.Instant(time.Second), read, func(x float64) { told = x })
	if err != nil || told != 1 {
		t.Fatal(err, told)
	}
	limits, delays := rehearsal.Limits(v, s), rehearsal.Delays(time.Minute)
	f, err := rehearsal.FieldOf(t.Context(), v, &s.Trace, limits, delays, func(float64) {})
	if err != nil {
		t.Fatal(err)
	}
	some := 0
	for i, limit := range limits {
		for k := i % 4; k < len(delays); k += 4 {
			other := *plan
			other.Rules = slices.Clone(plan.Rules)
			l := *plan.Rules[0].Limit
			l.Above, other.Rules[0].Limit, other.Rules[0].OnDelay = &limit, &l, delays[k]
			if want := engine(&other, func(*rules.Engine, sample.Instant) {}); f.Raised[i][k] != want {
				t.Errorf("above %g for %v: %d in the field, the engine raises %d", limit, delays[k], f.Raised[i][k], want)
			}
			some += f.Raised[i][k]
		}
	}
	if some < 1000 {
		t.Errorf("%d raises: too tame to prove anything", some)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := rehearsal.FieldOf(ctx, v, &s.Trace, limits, delays, func(float64) {}); err == nil {
		t.Error("a field that was stopped was made")
	}
}

type raises int

func (r *raises) Alert(e alert.Event) {
	if e.What == alert.Raised {
		*r++
	}
}
func (*raises) Updated(int, sample.Instant) {}
func (*raises) Late(int, *sample.Scan)      {}

// Whatever the rule is, it is on its own grid, which ascends.
func TestTheRuleIsOnItsGrid(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		limit, low := float64(r.IntN(2000))/10, float64(r.IntN(100))
		rule := &rules.Rule{ID: "tight", Limit: &rules.Limit{Watch: "ankle.pressure", Above: &limit}}
		v, err := (&rules.Place{ID: "b", Kind: rules.Wrap, Sites: []rules.Site{{ID: "ankle"}}}).Vary(rule)
		if err != nil {
			t.Fatal(err)
		}
		limits := rehearsal.Limits(v, &rehearsal.Second{Known: 1, Low: low, High: low + float64(r.IntN(200))})
		if len(limits) != rehearsal.FieldSize || !slices.IsSorted(limits) || !slices.Contains(limits, limit) || limits[0] < 0 {
			t.Errorf("limit %g, from %g: %v", limit, low, limits)
		}
		present := time.Duration(r.Int64N(int64(10 * time.Hour)))
		delays := rehearsal.Delays(present)
		if len(slices.Compact(slices.Clone(delays))) != rehearsal.FieldSize || !slices.IsSorted(delays) || !slices.Contains(delays, present) {
			t.Errorf("%v: %v", present, delays)
		}
	}
}
