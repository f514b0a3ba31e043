package rules_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/rules"
	"weald/rules/exposure"
	"weald/rules/relief"
	"weald/rules/turning"
)

// A bounded is one number of a rule: what may be set, and what may not be, next to it as
// well as far off.
type bounded struct {
	name string // as the path of the problem has it, below the rule
	set  func(r *rules.Rule, v float64)
	good []float64
	bad  []float64
}

var (
	least    = math.SmallestNonzeroFloat64
	noNumber = []float64{math.NaN(), math.Inf(1), math.Inf(-1)}
)

// seconds sets a duration, to the nanosecond.
func seconds(set func(*rules.Rule, time.Duration)) func(*rules.Rule, float64) {
	return func(r *rules.Rule, v float64) { set(r, time.Duration(math.Round(v*1e9))) }
}

// bounds has the numbers of every kind of rule: each kind as it is in order, and how far
// each of its numbers may go.
var bounds = []struct {
	plan    func(rules.Rule) *rules.Plan
	rule    func() rules.Rule
	numbers []bounded
}{
	{leg, func() rules.Rule {
		return rules.Rule{Limit: &rules.Limit{Watch: "ankle.pressure", Outside: &[2]float64{20, 30}}}
	}, []bounded{
		{"limit deadband", func(r *rules.Rule, v float64) { r.Limit.Deadband = v }, []float64{0, 9.99}, append(noNumber, -least, 10, 11)},
		{"limit outside", func(r *rules.Rule, v float64) { r.Limit.Outside[0] = v }, []float64{-1e300, 29.9}, []float64{30, 31, math.NaN(), math.Inf(-1)}},
		{"certainty", func(r *rules.Rule, v float64) { r.Certainty = v }, []float64{0, 1e-9, 0.5, 0.999999}, append(noNumber, -0.1, 1, 95)},
		{"on_delay", seconds(func(r *rules.Rule, d time.Duration) { r.OnDelay = d }), []float64{0, 1e-9, 9e9}, []float64{-1e-9, -9e9}},
		{"off_delay", seconds(func(r *rules.Rule, d time.Duration) { r.OffDelay = d }), []float64{0, 9e9}, []float64{-1e-9}},
		{"resets_after", seconds(func(r *rules.Rule, d time.Duration) { r.ResetsAfter = d }), []float64{0, 9e9}, []float64{-1e-9}},
		{"forget_after", seconds(func(r *rules.Rule, d time.Duration) { r.ForgetAfter = d }), []float64{0, 9e9}, []float64{-1e-9}},
		{"escalate_after", seconds(func(r *rules.Rule, d time.Duration) { r.EscalateAfter = d }), []float64{0, 9e9}, []float64{-1e-9}},
	}},
	{leg, func() rules.Rule {
		return rules.Rule{Graduation: &rules.Graduation{Ratio: 0.8, Drop: 2, Steepest: 0.3}}
	}, []bounded{
		{"graduation ratio", func(r *rules.Rule, v float64) { r.Graduation.Ratio = v }, []float64{0, 0.31, 2}, append(noNumber, -least, 2.01)},
		{"graduation steepest", func(r *rules.Rule, v float64) { r.Graduation.Steepest = v }, []float64{0, 0.79}, append(noNumber, -least, 0.8, 1.01)},
		{"graduation drop", func(r *rules.Rule, v float64) { r.Graduation.Drop = v }, []float64{0, 1e9}, append(noNumber, -least)},
		{"graduation", func(r *rules.Rule, v float64) { r.Graduation = &rules.Graduation{Drop: v} }, []float64{least}, []float64{0}},
	}},
	{leg, func() rules.Rule {
		return rules.Rule{Exposure: &rules.Exposure{Model: exposure.LinderGanz, Share: 0.8, Floor: 20}}
	}, []bounded{
		{"exposure share", func(r *rules.Rule, v float64) { r.Exposure.Share = v }, []float64{1e-6, 1, 7}, append(noNumber, 0, -1)},
		{"exposure floor", func(r *rules.Rule, v float64) { r.Exposure.Floor = v }, []float64{0, 500}, append(noNumber, -least)},
		{"exposure recovery", seconds(func(r *rules.Rule, d time.Duration) { r.Exposure.Recovery = d }), []float64{0, 9e9}, []float64{-1e-9}},
		{"certainty", func(r *rules.Rule, v float64) { r.Certainty = v }, []float64{0, 0.5}, []float64{0.95, 0.05, -1}},
	}},
	{chair, func() rules.Rule { return seated(time.Hour) }, []bounded{
		{"relief interval", seconds(func(r *rules.Rule, d time.Duration) { r.Relief.Interval = d }), []float64{1e-9, 9e9}, []float64{0, -1}},
		{"relief lasting", seconds(func(r *rules.Rule, d time.Duration) { r.Relief.Lasting = d }), []float64{1e-9, 60}, []float64{0, -1}},
		{"relief empty_for", seconds(func(r *rules.Rule, d time.Duration) { r.Relief.EmptyFor = d }), []float64{15, 9e9}, []float64{14.9, 0, -1}},
		{"relief depth", func(r *rules.Rule, v float64) { r.Relief.Depth[0] = v }, []float64{least, 0.9}, append(noNumber, 0, 0.91)},
		{"relief depth", func(r *rules.Rule, v float64) { r.Relief.Depth[1] = v }, []float64{0.3, 1}, append(noNumber, 0.29, 1.01)},
	}},
	{func(r rules.Rule) *rules.Plan {
		plan := bedWith(time.Hour)
		plan.Rules = []rules.Rule{r}
		plan.Rules[0].ID, plan.Rules[0].Priority = "rule", 1
		return plan
	}, func() rules.Rule {
		return rules.Rule{Turn: &rules.Turn{Interval: time.Hour, Settle: turning.DefaultSettle}}
	}, []bounded{
		{"turn interval", seconds(func(r *rules.Rule, d time.Duration) { r.Turn.Interval = d }), []float64{30.1, 9e9}, []float64{0, -1}},
		{"turn settle", seconds(func(r *rules.Rule, d time.Duration) { r.Turn.Settle = d }), []float64{1e-9, 3599}, []float64{0, -1, 3600, 9e9}},
	}},
	{leg, func() rules.Rule {
		return rules.Rule{Rate: &rules.Rate{Watch: "ankle.pressure", Rise: 5, Fall: 5, Per: time.Minute, Window: time.Minute}}
	}, []bounded{
		{"rate rise", func(r *rules.Rule, v float64) { r.Rate.Rise = v }, []float64{0, least, 1e9}, append(noNumber, -least)},
		{"rate fall", func(r *rules.Rule, v float64) { r.Rate.Fall = v }, []float64{0, least, 1e9}, append(noNumber, -least)},
		{"rate", func(r *rules.Rule, v float64) { r.Rate.Rise, r.Rate.Fall = v, 0 }, []float64{1}, []float64{0}},
		{"rate per", seconds(func(r *rules.Rule, d time.Duration) { r.Rate.Per = d }), []float64{1e-9, 9e9}, []float64{0, -1}},
		{"rate window", seconds(func(r *rules.Rule, d time.Duration) { r.Rate.Window = d }), []float64{1e-9, 9e9}, []float64{0, -1}},
	}},
	{leg, func() rules.Rule { return rules.Rule{Drift: &rules.Drift{Site: "ankle", By: 5}} }, []bounded{
		{"drift by", func(r *rules.Rule, v float64) { r.Drift.By = v }, []float64{least, 1e9}, append(noNumber, 0, -1)},
		{"drift settle", seconds(func(r *rules.Rule, d time.Duration) { r.Drift.Settle = d }), []float64{0, 9e9}, []float64{-1e-9}},
	}},
	{leg, func() rules.Rule {
		return rules.Rule{Swing: &rules.Swing{Site: "ankle", Limit: rules.Limit{Below: ptr(10)}}}
	}, []bounded{
		{"swing below", func(r *rules.Rule, v float64) { r.Swing.Below = &v }, []float64{0, 1e9}, noNumber},
		{"swing deadband", func(r *rules.Rule, v float64) { r.Swing.Deadband = v }, []float64{0, 99}, append(noNumber, -least)},
	}},
	{leg, func() rules.Rule { return faulty(rules.Faults...) }, []bounded{
		{"quality share", func(r *rules.Rule, v float64) { r.Quality.Share = v }, []float64{0, 1}, append(noNumber, -least, 1.01)},
		{"quality loss", func(r *rules.Rule, v float64) { r.Quality.Loss = v }, []float64{least, 0.99}, append(noNumber, 0, 1)},
		{"quality battery", func(r *rules.Rule, v float64) { r.Quality.Battery = v }, []float64{least, 99.9}, append(noNumber, 0, 100)},
		{"quality unchanged", seconds(func(r *rules.Rule, d time.Duration) { r.Quality.Unchanged = d }), []float64{1, 9e9}, []float64{0.999, 0, -1}},
		{"quality clock", seconds(func(r *rules.Rule, d time.Duration) { r.Quality.Clock = d }), []float64{1e-9, 9e9}, []float64{0, -1}},
	}},
}

// Every number of every kind of rule is taken up to its bounds, and one step beyond them
// it is refused, at the very setting, with a sentence that has no number in it that is
// none; and what is taken, an engine can be made of.
func TestNumbersAreTakenUpToTheirBounds(t *testing.T) {
	for _, kind := range bounds {
		r := kind.rule()
		if found := kind.plan(r).Check(); len(found) > 0 {
			t.Fatalf("%s is not in order: %v", r.Kind(), found)
		}
		for _, n := range kind.numbers {
			for _, v := range n.good {
				r := kind.rule()
				n.set(&r, v)
				plan := kind.plan(r)
				if found := plan.Check(); len(found) > 0 {
					t.Errorf("%s of %v is refused: %v", n.name, v, found)
					continue
				}
				rules.NewEngine(plan, nobody{})
			}
			for _, v := range n.bad {
				r := kind.rule()
				n.set(&r, v)
				found := kind.plan(r).Check()
				i := slices.IndexFunc(found, func(p rules.Problem) bool { return fmt.Sprint(p.Path) == "[rules 0 "+n.name+"]" })
				switch {
				case i < 0:
					t.Errorf("%s of %v is not refused there, but %v", n.name, v, found)
				case strings.Contains(found[i].Message, "%!") || found[i].Message == "":
					t.Errorf("%s of %v: %q", n.name, v, found[i].Message)
				}
			}
		}
	}
}

// What a rule refers to has to be there, and the problem says where it is referred to and
// what there would be.
func TestRulesFindWhatTheyReferTo(t *testing.T) {
	counts := seated(time.Hour)
	counts.Relief.Counts = nil
	none := faulty(rules.Missing)
	none.Quality.Of = nil
	two := seated(time.Hour)
	two.Rate = &rules.Rate{Watch: "left.pressure", Rise: 1, Per: 1, Window: 1}
	for _, c := range []struct {
		plan       func(rules.Rule) *rules.Plan
		r          rules.Rule
		path, says string
	}{
		{leg, rules.Rule{Graduation: &rules.Graduation{Ratio: 0.8, Sites: [2]string{"ankle", "knee"}}}, "graduation sites", "there is calf, ankle"},
		{leg, rules.Rule{Graduation: &rules.Graduation{Ratio: 0.8, Sites: [2]string{"ankle", "ankle"}}}, "graduation sites", `"ankle" twice`},
		{chair, rules.Rule{Graduation: &rules.Graduation{Ratio: 0.8}}, "graduation", "no limb"},
		{leg, rules.Rule{Exposure: &rules.Exposure{Model: "own", Share: 1}}, "exposure model", "linder_ganz, reswick_rogers"},
		{leg, rules.Rule{Exposure: &rules.Exposure{Share: 1}}, "exposure", "give model"},
		{leg, rules.Rule{Exposure: &rules.Exposure{Model: exposure.LinderGanz, Table: []exposure.Point{{MMHg: 1, Time: 1}}, Share: 1}}, "exposure table", "not both"},
		{leg, rules.Rule{Exposure: &rules.Exposure{Table: []exposure.Point{{MMHg: 40, Time: 1}, {MMHg: 30, Time: 2}}, Share: 1}}, "exposure table", ""},
		{leg, rules.Rule{Exposure: &rules.Exposure{Of: "knee", Model: exposure.LinderGanz, Share: 1}}, "exposure of", "calf, ankle"},
		{leg, seated(time.Hour), "relief", "no seat"},
		{chair, counts, "relief counts", relief.Shift.String()},
		{chair, two, "rate", "relief and rate"},
		{leg, rules.Rule{Turn: &rules.Turn{Interval: time.Hour, Settle: 1}}, "turn", "10 by 6"},
		{leg, rules.Rule{Rate: &rules.Rate{Watch: "knee.pressure", Rise: 1, Per: 1, Window: 1}}, "rate watch", "calf.pressure"},
		{leg, rules.Rule{Rate: &rules.Rate{Watch: "still", Rise: 1, Per: 1, Window: 1}}, "rate watch", `"still"`},
		{leg, rules.Rule{Drift: &rules.Drift{Site: "knee", By: 1}}, "drift site", `"knee"`},
		{leg, rules.Rule{Swing: &rules.Swing{Site: "knee", Limit: rules.Limit{Above: ptr(1)}}}, "swing site", `"knee"`},
		{leg, none, "quality of", "silent"},
		{leg, rules.Rule{Formula: "knee.pressure > 3"}, "formula", "column 1"},
		{leg, rules.Rule{Formula: "ankle.pressure"}, "formula", "column"},
		{leg, rules.Rule{Formula: "still", While: "knee > 3"}, "while", "column 1"},
	} {
		found := c.plan(c.r).Check()
		if len(found) != 1 || fmt.Sprint(found[0].Path) != "[rules 0 "+c.path+"]" || !strings.Contains(found[0].Message, c.says) {
			t.Errorf("%+v: %v, want one problem at %s that says %q", c.r, found, c.path, c.says)
		}
	}
}
