package config

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"weald/rules"
)

// A proposal is the rule of the file with two things changed, and can be read.
func TestAProposalIsTheRuleWithAnotherLimitAndDelay(t *testing.T) {
	c := load(t, "testdata/kinds.yaml")
	text, err := c.Proposal("high", true, 87.5, 90*time.Minute+1500*time.Millisecond)
	if err != nil {
		t.Fatal(err)
	}
	plan, problems := c.WithRules("proposal.yaml", []byte(text))
	if len(problems) > 0 || len(plan.Rules) != 1 {
		t.Fatalf("%s: %v", text, problems)
	}
	var want rules.Rule
	for _, r := range c.Plan().Rules {
		if r.ID == "high" {
			want = r
		}
	}
	limit := *want.Limit
	limit.Above, want.Limit, want.OnDelay = new(87.5), &limit, 90*time.Minute+1500*time.Millisecond
	if d := cmp.Diff(want, plan.Rules[0]); d != "" {
		t.Error(text, d)
	}
	if !strings.Contains(text, "on_delay: 1h30m1.5s") {
		t.Errorf("durations are not as people write them: %s", text)
	}
	for _, id := range []string{"flat", "nobody"} {
		if text, err := c.Proposal(id, true, 1, 0); err == nil {
			t.Errorf("%s: %s", id, text)
		}
	}
}
