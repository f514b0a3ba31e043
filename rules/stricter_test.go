package rules_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
	"weald/rules/exposure"
)

// Whoever asks for less is warned at least as soon: each pair is a rule and a stricter
// one of the same kind, of which the condition has to be true whenever that of the first
// one is.
func TestAStricterRuleIsTrueWheneverTheOtherIs(t *testing.T) {
	limit := func(l rules.Limit, certainty float64) rules.Rule {
		l.Watch = "ankle.pressure"
		return rules.Rule{Limit: &l, Certainty: certainty}
	}
	grade := func(g rules.Graduation, certainty float64) rules.Rule {
		return rules.Rule{Graduation: &g, Certainty: certainty, While: "true"}
	}
	rate := func(rise, fall float64) rules.Rule {
		return rules.Rule{Rate: &rules.Rate{Watch: "ankle.pressure", Rise: rise, Fall: fall, Per: time.Second, Window: 4 * time.Second}}
	}
	dose := func(share, floor float64) rules.Rule {
		table := []exposure.Point{{MMHg: 31, Time: 30 * time.Second}, {MMHg: 60, Time: 3 * time.Second}}
		return rules.Rule{Exposure: &rules.Exposure{Of: "ankle", Table: table, Share: share, Floor: floor, Recovery: 9 * time.Second}, ResetsAfter: time.Second}
	}
	drift := func(by float64) rules.Rule {
		return rules.Rule{Drift: &rules.Drift{Site: "ankle", By: by, Settle: 5 * time.Second}}
	}
	pairs := map[string][2]rules.Rule{
		"a lower upper limit":    {limit(rules.Limit{Above: ptr(40)}, 0), limit(rules.Limit{Above: ptr(36)}, 0)},
		"a higher lower limit":   {limit(rules.Limit{Below: ptr(30)}, 0), limit(rules.Limit{Below: ptr(34)}, 0)},
		"a narrower band":        {limit(rules.Limit{Outside: &[2]float64{28, 44}}, 0), limit(rules.Limit{Outside: &[2]float64{30, 40}}, 0)},
		"a wider deadband":       {limit(rules.Limit{Above: ptr(36), Deadband: 1}, 0), limit(rules.Limit{Above: ptr(36), Deadband: 4}, 0)},
		"less certainty":         {limit(rules.Limit{Above: ptr(36)}, 0.95), limit(rules.Limit{Above: ptr(36)}, 0.6)},
		"a chance":               {limit(rules.Limit{Above: ptr(36)}, 0), limit(rules.Limit{Above: ptr(36)}, 0.05)},
		"outside, by a chance":   {limit(rules.Limit{Outside: &[2]float64{30, 40}}, 0.5), limit(rules.Limit{Outside: &[2]float64{30, 40}}, 0.2)},
		"a smaller ratio":        {grade(rules.Graduation{Ratio: 1}, 0), grade(rules.Graduation{Ratio: 0.8}, 0)},
		"a greater drop":         {grade(rules.Graduation{Drop: 2}, 0), grade(rules.Graduation{Drop: 8}, 0)},
		"a gentler slope":        {grade(rules.Graduation{Steepest: 0.5}, 0), grade(rules.Graduation{Steepest: 0.7}, 0)},
		"also too steep":         {grade(rules.Graduation{Ratio: 0.9}, 0), grade(rules.Graduation{Ratio: 0.9, Steepest: 0.6}, 0)},
		"a ratio, less surely":   {grade(rules.Graduation{Ratio: 0.9}, 0.9), grade(rules.Graduation{Ratio: 0.9}, 0.55)},
		"a slower rise":          {rate(2, 0), rate(1, 0)},
		"a fall as well":         {rate(1, 0), rate(1, 1)},
		"a smaller share":        {dose(0.8, 30), dose(0.3, 30)},
		"a lower floor":          {dose(0.5, 40), dose(0.5, 30)},
		"a smaller drift":        {drift(4), drift(2)},
		"one more reason":        {{Formula: "ankle.pressure > 40"}, {Formula: "ankle.pressure > 40 or calf.pressure > 34"}},
		"one condition less":     {{Formula: "ankle.pressure > 38 and calf.pressure > 34"}, {Formula: "ankle.pressure > 38"}},
		"any reason, not all":    {{Formula: "min(ankle.pressure, calf.pressure) > 34"}, {Formula: "max(ankle.pressure, calf.pressure) > 34"}},
		"a limit as a rule says": {limit(rules.Limit{Above: ptr(36)}, 0), {Formula: "not (ankle.pressure <= 36)"}},
	}
	var names []string
	plan := leg(rules.Rule{})
	plan.Rules = nil
	for name := range pairs {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		for i, r := range pairs[name] {
			r.ID, r.Priority, r.ForgetAfter = name+[]string{"", ", stricter"}[i], 1, time.Minute
			plan.Rules = append(plan.Rules, r)
		}
	}
	if found := plan.Check(); len(found) > 0 {
		t.Fatal(found)
	}
	yes, apart := map[string]int{}, map[string]int{}
	story := func(t *rapid.T, creep float64) {
		s, now := begun(plan), time.Duration(0)
		level := 38.0
		for n := range 100 {
			now += 250 * time.Millisecond
			ankle, calf := level+creep*float64(n), level+creep*float64(n)-8
			if math.Abs(creep) > 0.1 {
				ankle = level + creep*float64(n%25)
			}
			if creep == 0 {
				now += ms(rapid.SampledFrom([]int{0, -150, 650, 1250}).Draw(t, "later"))
				switch rapid.IntRange(0, 12).Draw(t, "move") {
				case 0:
					level = rapid.SampledFrom([]float64{0, 20, 30, 34, 38, 44, 60}).Draw(t, "level")
				case 1, 2:
					level += rapid.SampledFrom([]float64{-1, 0.5, 1}).Draw(t, "by")
				}
				ankle, calf = max(0, level), max(0, level+float64(rapid.IntRange(-20, 4).Draw(t, "fall")))
				if rapid.IntRange(0, 15).Draw(t, "lost") == 0 {
					ankle = math.NaN()
				}
			}
			u := rapid.SampledFrom([]float64{0.2, 1, 4, math.NaN()}).Draw(t, "u")
			s.sure(now, []float64{ankle, calf}, repeat(u, 2), repeat(0.5, 2))
			is := map[string]sample.Truth{}
			for _, p := range s.Progress(0, nil) {
				is[p.Rule] = p.Condition
			}
			for _, name := range names {
				switch one, strict := is[name], is[name+", stricter"]; {
				case one == sample.Yes && strict != sample.Yes:
					t.Fatalf("%s: at %v with %v ± %v and %v the condition is true, and %v of the stricter one", name, now, ankle, u, calf, strict)
				case one == sample.Yes:
					yes[name]++
				case strict == sample.Yes:
					apart[name]++
				}
			}
		}
	}
	differing := slices.DeleteFunc(slices.Clone(names), func(name string) bool { return name == "a limit as a rule says" }) // these are one and the same
	tried.Until(t, tried.All(tried.Each(yes, 1, differing...), tried.Each(apart, 1, differing...)), func() {
		for creep, n := range map[float64]int{0: 4, 0.08: 2, -0.08: 1, 0.4: 1, -0.4: 1, 0.8: 1} { // mmHg a reading; 0 for whatever comes
			few(t, n, func(t *rapid.T) { story(t, creep) })
		}
	})
}

// Without a memory of what was held before, a shorter on-delay has raised whatever a
// longer one has, and a longer off-delay has not cleared what a shorter one has not.
func TestDelaysOnlyDelay(t *testing.T) {
	apart := 0
	tried.Check(t, tried.Count(&apart, 50), func(t *rapid.T) {
		plan := leg(above("ankle.pressure", 32, 0))
		plan.Rules = nil
		on, off := ms(rapid.IntRange(0, 3000).Draw(t, "on")), ms(rapid.IntRange(0, 3000).Draw(t, "off"))
		for i, r := range []rules.Rule{{OnDelay: on, OffDelay: off}, {OnDelay: on / 2, OffDelay: off}, {OnDelay: on, OffDelay: 2 * off}} {
			r.ID, r.Priority, r.ForgetAfter = string(rune('a'+i)), 1, ms(rapid.SampledFrom([]int{1, 60000}).Draw(t, "forget"))
			r.Limit = &rules.Limit{Watch: "ankle.pressure", Above: ptr(32)}
			if i > 0 {
				r.ForgetAfter = plan.Rules[0].ForgetAfter
			}
			plan.Rules = append(plan.Rules, r)
		}
		s, now := begun(plan), time.Duration(0)
		for range rapid.IntRange(1, 60).Draw(t, "n") {
			now += ms(rapid.IntRange(1, 1500).Draw(t, "later"))
			s.scan(0, now, rapid.SampledFrom([]float64{30, 30, 34, 34, 34, math.NaN()}).Draw(t, "v"), 0)
			p := s.Progress(0, nil)
			if p[0].Raised && !p[1].Raised || p[0].Raised && !p[2].Raised {
				t.Fatalf("at %v with %v and %v: %v, with a shorter on-delay %v, with a longer off-delay %v", now, on, off, p[0].Raised, p[1].Raised, p[2].Raised)
			}
			if p[0].Raised != p[1].Raised || p[0].Raised != p[2].Raised {
				apart++
			}
		}
	})
}
