package rules_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
)

// A term is a condition as text, and what it is for pressures of ankle and calf: +1 for
// yes, -1 for no, 0 for unknown.
type term struct {
	text string
	is   func(ankle, calf float64) int
}

// drawTerm draws conditions of conditions. They combine by Kleene's strong logic (Kleene,
// Introduction to Metamathematics, 1952, section 64; from memory): of yes, unknown and no,
// in this order, "and" is the lesser and "or" the greater one.
func drawTerm(t *rapid.T, depth int) term {
	kind := rapid.IntRange(0, 5).Draw(t, "kind")
	if depth == 0 {
		kind = kind % 2
	}
	switch kind {
	case 0, 1:
		limit := rapid.IntRange(28, 34).Draw(t, "limit")
		name := rapid.SampledFrom([]string{"ankle", "calf", "the higher", "the fall"}).Draw(t, "of")
		op := rapid.SampledFrom([]string{">", "<=", "<", ">="}).Draw(t, "op")
		text := map[string]string{"ankle": "ankle.pressure", "calf": "calf.pressure", "the higher": "max(ankle.pressure, calf.pressure)", "the fall": "(ankle.pressure - calf.pressure + 30)"}[name]
		return term{fmt.Sprintf("%s %s %d", text, op, limit), func(ankle, calf float64) int {
			v := map[string]float64{"ankle": ankle, "calf": calf, "the higher": math.Max(ankle, calf), "the fall": ankle - calf + 30}[name]
			is := map[string]bool{">": v > float64(limit), "<=": v <= float64(limit), "<": v < float64(limit), ">=": v >= float64(limit)}[op]
			switch {
			case v != v:
				return 0
			case is:
				return 1
			}
			return -1
		}}
	case 2:
		a := drawTerm(t, depth-1)
		return term{"not (" + a.text + ")", func(x, y float64) int { return -a.is(x, y) }}
	case 3:
		return term{"known(ankle.pressure)", func(x, _ float64) int {
			if x != x {
				return -1
			}
			return 1
		}}
	}
	a, b := drawTerm(t, depth-1), drawTerm(t, depth-1)
	if kind == 4 {
		return term{"(" + a.text + ") and (" + b.text + ")", func(x, y float64) int { return min(a.is(x, y), b.is(x, y)) }}
	}
	return term{"(" + a.text + ") or (" + b.text + ")", func(x, y float64) int { return max(a.is(x, y), b.is(x, y)) }}
}

// Whatever a formula asks, it is so when somebody who takes it apart with the tables of
// the logic says so; as a rule of its own, as the gate of another one, which it opens only
// when it is yes, and after a silence, when all is unknown but that it is not known.
func TestFormulasByTheTablesOfTheLogic(t *testing.T) {
	seen := map[int]int{}
	tried.Check(t, tried.Each(seen, 100, -1, 0, 1), func(t *rapid.T) {
		asked := drawTerm(t, 3)
		plan := leg(rules.Rule{Formula: asked.text})
		gated := above("ankle.pressure", -1, time.Hour)
		gated.ID, gated.While, gated.Limit = "gated", asked.text, &rules.Limit{Watch: "calf.pressure", Above: ptr(-1)}
		gated.ForgetAfter = 100 * time.Hour
		plan.Rules = append(plan.Rules, gated)
		if found := plan.Check(); len(found) > 0 {
			t.Fatalf("%s: %v", asked.text, found)
		}
		s, now, held := begun(plan), time.Duration(0), time.Duration(0)
		for range 12 {
			ankle := rapid.SampledFrom([]float64{27, 30, 31, 33, math.NaN()}).Draw(t, "ankle")
			calf := rapid.SampledFrom([]float64{28, 31, 34, math.NaN()}).Draw(t, "calf")
			later := ms(rapid.SampledFrom([]int{100, 900, 1700}).Draw(t, "later"))
			s.scan(0, now, ankle, calf)
			want := asked.is(ankle, calf)
			seen[want]++
			if got := s.Progress(0, nil)[0].Condition; got != sample.Truth(want) {
				t.Fatalf("%s with %v and %v: %v, want %d", asked.text, ankle, calf, got, want)
			}
			if want == 1 && calf == calf {
				held += min(later, time.Second)
			}
			if now += later; later > time.Second {
				s.Tick(at(now))
				s.scan(0, now, math.NaN(), math.NaN())
				if got := s.Progress(0, nil)[0].Condition; got != sample.Truth(asked.is(math.NaN(), math.NaN())) {
					t.Fatalf("%s of nothing: %v", asked.text, got)
				}
			}
		}
		s.scan(0, now, math.NaN(), math.NaN())
		if p, _ := s.progressOf(0, "gated", "calf"); p.Held != held {
			t.Fatalf("while %s: held for %v, want %v", asked.text, p.Held, held)
		}
	})
}
