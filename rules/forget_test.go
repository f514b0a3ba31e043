package rules_test

import (
	"strings"
	"testing"
	"time"

	"weald/rules"
	"weald/rules/exposure"
	"weald/rules/turning"
)

// Whatever a rule has counted, a silence that is shorter than forget_after leaves alone,
// and one that reaches it undoes: of every kind that counts by itself, and down to a
// forget_after of nothing, with which any silence does. Without a silence even that
// forgets nothing. (Semantics, section 4.)
func TestSilenceForgetsWhatWasCounted(t *testing.T) {
	table := []exposure.Point{{MMHg: 30, Time: 300 * time.Second}, {MMHg: 60, Time: 200 * time.Second}, {MMHg: 90, Time: time.Second}}
	limit := above("ankle.pressure", 32, 100*time.Second)
	for name, c := range map[string]struct {
		rule rules.Rule
		plan func(rules.Rule) *rules.Plan
	}{
		"limit":    {limit, leg},
		"exposure": {rules.Rule{Exposure: &rules.Exposure{Of: "ankle", Table: table, Share: 0.5, Floor: 20, Recovery: exposure.Never}}, leg},
		"relief":   {seated(100 * time.Second), chair},
		"turn": {rules.Rule{Turn: &rules.Turn{Interval: 100 * time.Second, Settle: turning.DefaultSettle}}, func(r rules.Rule) *rules.Plan {
			plan := bedWith(time.Hour)
			r.ID, r.Priority = "rule", 1
			plan.Rules = []rules.Rule{r}
			return plan
		}},
	} {
		for _, forget := range []time.Duration{0, 1, 20 * time.Second, time.Hour} {
			r := c.rule
			r.ForgetAfter = forget
			raised := func(hole time.Duration) time.Duration {
				plan := c.plan(r)
				plan.Rules[0].ForgetAfter = forget // which leg takes for none that is set
				plan.Sources[0].StaleAfter = 2 * time.Second
				s := newStory(t, plan)
				values := somebody(4)
				if c.rule.Turn == nil {
					values = []float64{60, 55}
				}
				for now := time.Duration(0); now < 260*time.Second; now += 2 * time.Second {
					if now < 52*time.Second || now >= 52*time.Second+hole {
						s.scan(0, now, values...)
					}
				}
				for _, line := range s.lines {
					if f := strings.Fields(line); f[1] == "raised" {
						when, _ := time.ParseDuration(f[0])
						return when.Round(time.Second) // rates of a model are tabulated
					}
				}
				return -1
			}
			if got := raised(0); got != 100*time.Second {
				t.Errorf("%s with a forget_after of %v is raised at %v, want 1m40s", name, forget, got)
			}
			const hole = 30 * time.Second // in which nothing counts
			want := 130 * time.Second
			if forget < hole {
				want = 182 * time.Second // all of it again
			}
			if got := raised(hole); got != want {
				t.Errorf("%s with a forget_after of %v and a hole of %v is raised at %v, want %v", name, forget, hole, got, want)
			}
		}
	}
}
