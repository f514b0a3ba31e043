package rules_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"weald/rules"
	"weald/rules/alert"
)

// A rehearsal leaves out what no rule needs: of each kind of rule for a wrap, alone,
// the same is raised and cleared, in the same words.
func TestLeanLegsRaiseTheSame(t *testing.T) {
	for _, r := range []rules.Rule{
		{Limit: &rules.Limit{Watch: "ankle.pressure", Above: ptr(38)}, OnDelay: time.Second},
		{Limit: &rules.Limit{Watch: "calf.residual", Above: ptr(1)}, OnDelay: time.Second, While: "still"},
		{Limit: &rules.Limit{Watch: "ankle.resting", Above: ptr(30)}},
		{Graduation: &rules.Graduation{Ratio: 0.6}},
		{Rate: &rules.Rate{Watch: "ankle.pressure", Fall: 5, Per: time.Minute, Window: time.Minute}},
		{Drift: &rules.Drift{Site: "ankle", By: 1, Settle: time.Minute}},
		{Swing: &rules.Swing{Site: "ankle", Limit: rules.Limit{Watch: "ankle.swing", Above: ptr(5)}}},
		{Formula: "ankle.pressure - calf.pressure > 3 and still and not (walking or bending)"},
	} {
		r.ID, r.At.Kind, r.Priority, r.ForgetAfter = "rule", rules.Wrap, alert.Low, rules.DefaultForgetAfter
		plan := ward(1)
		plan.Rules = []rules.Rule{r}
		plan.Places[0].Sites[0].HeightCM, plan.Places[0].Sites[1].HeightCM = 12, 31
		lean := *plan
		lean.Lean = true
		full, less := newStory(t, plan), newStory(t, &lean)
		for n := range 6000 { // ten minutes of walking and resting, in a wrap that slackens
			at := time.Duration(n) * 100 * time.Millisecond
			swing := 0.0
			if n/10%60 < 25 {
				swing = 6 * (1 - math.Cos(2*math.Pi*0.9*at.Seconds()))
			}
			loose := at.Minutes()
			for _, s := range []*story{full, less} {
				s.scan(0, at, 42+swing-loose, 30+swing/2-loose/2)
			}
		}
		if len(full.lines) == 0 || !slices.Equal(full.lines, less.lines) || !slices.Equal(full.texts, less.texts) {
			t.Errorf("%s: lean\n%q\nfull\n%q", fmt.Sprint(r.Limit, r.Graduation, r.Rate, r.Drift, r.Swing, r.Formula), less.texts, full.texts)
		}
	}
}
