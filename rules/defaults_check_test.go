package rules_test

import (
	"slices"
	"testing"
	"time"

	"weald/rules"
	"weald/rules/exposure"
	"weald/rules/relief"
)

// ofDefaults is a rule of a kind with its defaults, for a place that can have it.
func ofDefaults(kind string) (r rules.Rule, at func(rules.Rule) *rules.Plan) {
	number := func(key string) float64 { return rules.DefaultOf(kind, key).(float64) }
	span := func(key string) time.Duration { return rules.DefaultOf(kind, key).(time.Duration) }
	at = leg
	switch kind {
	case "graduation":
		r.Graduation = &rules.Graduation{Ratio: number("ratio")}
	case "exposure":
		r.Exposure = &rules.Exposure{Model: exposure.ReswickRogers, Share: number("share"), Floor: number("floor"), Recovery: span("recovery")}
		r.ResetsAfter = span("resets_after")
	case "relief":
		at = chair
		r.Relief = &rules.Relief{
			Interval: span("interval"), Depth: rules.DefaultOf(kind, "depth").([2]float64), Lasting: span("lasting"),
			EmptyFor: span("empty_for"), Counts: rules.DefaultOf(kind, "counts").([]relief.Kind),
		}
	case "turn":
		at = func(r rules.Rule) *rules.Plan {
			plan := bedWith(time.Hour)
			r.ID, r.Priority = "rule", 1
			plan.Rules = []rules.Rule{r}
			return plan
		}
		r.Turn = &rules.Turn{Interval: span("interval"), Settle: span("settle")}
	case "rate":
		r.Rate = &rules.Rate{Watch: "ankle.pressure", Fall: 5, Per: span("per"), Window: span("window")}
	case "quality":
		r.Quality = &rules.Quality{Of: rules.Faults, Unchanged: span("unchanged"), Share: number("share"), Loss: number("loss"), Clock: span("clock"), Battery: number("battery")}
	case "drift":
		r.Drift = &rules.Drift{Site: "ankle", By: number("by"), Settle: span("settle")}
	}
	return r, at
}

// A rule for which nothing is set but its kind, and what has no default, is in order, and
// every default is of a setting that its kind has: none is left over.
func TestDefaultsAreInOrder(t *testing.T) {
	kinds := map[string]int{}
	for _, d := range rules.Defaults() {
		kinds[d.Kind]++
		if got := rules.DefaultOf(d.Kind, d.Key); got == nil {
			t.Errorf("%s %s is not found", d.Kind, d.Key)
		}
	}
	want := map[string]int{"graduation": 2, "exposure": 4, "relief": 5, "turn": 2, "rate": 2, "quality": 5, "drift": 2}
	for kind, n := range kinds {
		if n != want[kind] {
			t.Errorf("%s has %d defaults, and this test uses %d", kind, n, want[kind])
		}
		r, at := ofDefaults(kind)
		if found := at(r).Check(); len(found) > 0 || r.Kind() != kind {
			t.Errorf("%s by default is a %q: %v", kind, r.Kind(), found)
		}
	}
	if rules.DefaultOf("limit", "above") != nil || rules.DefaultOf("relief", "above") != nil {
		t.Error("there is a default for what only a ward can know")
	}
}

// The numbers of semantics.md, section 5, that have a source: a weight shift is 30 to 90 %
// off at least one side for 15 s, a pressure relief at least 90 % off the whole seat
// (Sonenblum, Sprigle, Martin, J Rehabil Res Dev 2016;53(5):585-598), an empty seat for
// 60 s is a transfer; and graduation is judged while the limb is still.
func TestDefaultsAreThoseOfTheSpecification(t *testing.T) {
	r, _ := ofDefaults("relief")
	x := r.Relief
	if x.Depth != [2]float64{0.3, 0.9} || x.Lasting != 15*time.Second || x.EmptyFor != time.Minute || !slices.Equal(x.Counts, []relief.Kind{relief.Shift, relief.Relief, relief.Transfer}) {
		t.Errorf("a relief is %+v by default", x)
	}
	if d := relief.Default(); x.Depth != [2]float64{d.ShiftDepth, d.ReliefDepth} || x.Lasting != d.Lasting || x.EmptyFor != d.EmptyFor {
		t.Errorf("a rule goes by %+v, and what is shown without one by %+v", x, d)
	}
	grade, _ := ofDefaults("graduation")
	s := newStory(t, leg(grade))
	s.play(0, 20*time.Second, 10, func(t float64) (float64, float64) { return 40, 60 + 20*float64(int(10*t)%2) })
	if p := s.Progress(0, nil)[0]; p.Condition.String() != "yes" || p.Raised {
		t.Errorf("a graduation is judged though the limb moves: %+v", p)
	}
	if rules.DefaultForgetAfter != 10*time.Minute {
		t.Errorf("a silence is forgotten after %v", rules.DefaultForgetAfter)
	}
}
