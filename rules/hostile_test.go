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

const forever = time.Duration(math.MaxInt64)

// drawWorst draws a rule that is in order but for a few numbers, which are the worst that
// anybody could write, and the kind of place that can have it.
func drawWorst(t *rapid.T) (r rules.Rule, at rules.PlaceKind) {
	kind := bounds[rapid.IntRange(0, 999).Draw(t, "kind")%len(bounds)]
	r = kind.rule()
	at = map[string]rules.PlaceKind{"graduation": rules.Wrap, "drift": rules.Wrap, "swing": rules.Wrap, "relief": rules.Seat}[r.Kind()]
	if at == "" {
		at = rules.Bed
	}
	if r.Limit != nil {
		r.Limit.Watch = rapid.SampledFrom([]string{"ankle.pressure", "mat.pressure", "mat.peak", "mat.area", "back.gradient", "back.share", "mat.x"}).Draw(t, "watch")
		if rapid.Bool().Draw(t, "one bound") {
			r.Limit.Outside = nil
			if v := rapid.SampledFrom([]float64{0, least, 1e300, -1e300, math.MaxFloat64}).Draw(t, "bound"); v < 1 {
				r.Limit.Below = &v
			} else {
				r.Limit.Above = &v
			}
		}
	}
	for range rapid.IntRange(0, 2).Draw(t, "spoilt") {
		n := rapid.SampledFrom(kind.numbers).Draw(t, "number")
		if r.Limit != nil && r.Limit.Outside == nil && n.name == "limit outside" || r.Swing != nil && n.name == "certainty" {
			continue
		}
		worst := append(slices.Concat(n.good, n.bad), 0, least, 1e300, math.NaN())
		if rapid.IntRange(0, 2).Draw(t, "but") > 0 {
			worst = n.good
		}
		n.set(&r, rapid.SampledFrom(worst).Draw(t, "v"))
	}
	span := func(name string) time.Duration {
		return rapid.SampledFrom([]time.Duration{0, 1, time.Second, 0, time.Hour, forever, 0, forever - 1}).Draw(t, name)
	}
	r.OnDelay, r.OffDelay, r.ResetsAfter, r.ForgetAfter, r.EscalateAfter = span("on"), span("off"), span("resets"), span("forget"), span("escalate")
	return r, at
}

// Whatever somebody writes, it is refused with a sentence, or it can be judged by: with
// any finite readings, at any instants that follow each other, nothing panics, spins, goes back
// in time or says what is no number.
func TestTheWorstSettingsAreRefusedOrJudged(t *testing.T) {
	judged, told := map[string]int{}, 0
	kinds := func() (any, bool) { return judged, len(judged) >= 7 }
	tried.Check(t, tried.All(kinds, tried.Count(&told, 2)), func(t *rapid.T) {
		r, kind := drawWorst(t)
		r.ID, r.Priority = "rule", alert.Low
		cells := make([]int, 30)
		for i := range cells {
			cells[i] = i
		}
		plan := &rules.Plan{
			Sources: []rules.Source{{ID: "a/all", Channels: 60, Calibrated: true, StaleAfter: rapid.SampledFrom([]time.Duration{1, time.Second, forever}).Draw(t, "stale")}},
			Places: []rules.Place{{
				ID: "place-1", Kind: kind,
				Sites: []rules.Site{{ID: "ankle", Channels: []rules.Channel{{Index: 1}, {Index: 2}, {Index: 3}}}, {ID: "calf", Channels: []rules.Channel{{Index: 9}}}},
				Mat:   &rules.Mat{Rows: 10, Columns: 6, PitchMM: [2]float64{190, 140}, Regions: []rules.Region{{ID: "back", Cells: cells}}},
			}},
			Rules: []rules.Rule{r},
		}
		if rapid.IntRange(0, 9).Draw(t, "region") == 9 {
			mat := plan.Places[0].Mat
			mat.Regions = append(mat.Regions, rules.Region{ID: "none"})
		}
		if found := plan.Check(); len(found) > 0 {
			for _, p := range found {
				if p.Message == "" || len(p.Path) < 2 || strings.Contains(p.Message, "%!") {
					t.Fatalf("refused without a sentence: %+v", p)
				}
			}
			return
		}
		judged[r.Kind()]++
		e, sink := engineOf(plan)
		now := sample.Instant(rapid.SampledFrom([]int64{0, -1, 1_800_000_000_000_000_000, math.MinInt64 + 1, math.MaxInt64 - 1e14}).Draw(t, "begin"))
		for range rapid.IntRange(4, 10).Draw(t, "scans") {
			x := sample.Scan{At: now, Arrived: now, Rail: 1e9}
			v := rapid.SampledFrom([]float64{40, 0, -40, 1e300, -1e300, math.NaN(), least}).Draw(t, "v")
			for i := range 60 {
				if x.Values = append(x.Values, v); i%7 == 0 {
					x.Values[i] = 33
				}
			}
			if rapid.Bool().Draw(t, "with") {
				x.U, x.Shared, x.Extrapolated = repeat(rapid.SampledFrom([]float64{0, 1, 1e300, math.Inf(1), math.NaN()}).Draw(t, "u"), 60), repeat(0, 60), make([]bool, 60)
			}
			e.Scan(&x)
			now = now.Add(rapid.SampledFrom([]time.Duration{0, 1, time.Second, time.Hour}).Draw(t, "later"))
			for n := 0; e.Next() <= now; n++ { // which is never Never
				if e.Tick(e.Next()); n > 100 {
					t.Fatalf("%+v %+v: Next says %v again and again\n%+v\n%+v", r, r.Relief, e.Next(), e.Progress(0, nil), e.Signals(0)[0])
				}
			}
		}
		e.Finish()
		last := sample.Past
		for _, ev := range sink.events {
			if ev.At < last || ev.Held < 0 || strings.Contains(ev.Text, "NaN") || strings.Contains(ev.Text, "Inf ") || strings.Contains(ev.Text, "%!") {
				t.Fatalf("%+v, after %v", ev, last)
			}
			last = ev.At
		}
		for _, p := range e.Progress(0, nil) {
			if used := p.Used(); !(used >= 0 && used <= 1) {
				t.Fatalf("%+v has used %v", p, used)
			}
			if all := fmt.Sprint(p.Asks, p.Says, p.Note, p.Waits); strings.Contains(all, "%!") {
				t.Fatalf("it says %q", all)
			}
		}
		told += len(sink.events)
		other, _ := engineOf(plan)
		if err := other.RestorePlace(0, e.SnapshotPlace(0, nil)); err != nil {
			t.Fatalf("%+v cannot be taken up again: %v", r, err)
		}
	})
}
