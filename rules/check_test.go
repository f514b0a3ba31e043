package rules_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"weald/rules"
	"weald/rules/alert"
)

func TestCheckNamesEveryProblem(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(*rules.Plan)
		path  string // of the one problem
		says  string
	}{
		{"unknown signal", func(p *rules.Plan) { p.Rules[0].Limit.Watch = "knee.pressure" }, "[rules 0 limit watch]", "ankle.pressure"},
		{"no such place", func(p *rules.Plan) { p.Rules[0].At.Place = "bench-9" }, "[rules 0 at place]", `"bench-9"`},
		{"no such kind", func(p *rules.Plan) { p.Rules[0].At.Kind = rules.Bed }, "[rules 0 at kind]", `"bed"`},
		{"two bounds", func(p *rules.Plan) { p.Rules[0].Limit.Below = ptr(3) }, "[rules 0 limit]", "exactly one"},
		{"no bound", func(p *rules.Plan) { p.Rules[0].Limit.Above = nil }, "[rules 0 limit]", "exactly one"},
		{"no kind of rule", func(p *rules.Plan) { p.Rules[0].Limit = nil }, "[rules 0]", "limit:"},
		{"negative deadband", func(p *rules.Plan) { p.Rules[0].Limit.Deadband = -1 }, "[rules 0 limit deadband]", "not negative"},
		{"endless limit", func(p *rules.Plan) { p.Rules[0].Limit.Above = ptr(math.Inf(1)) }, "[rules 0 limit above]", "finite"},
		{"negative delay", func(p *rules.Plan) { p.Rules[0].OnDelay = -time.Second }, "[rules 0 on_delay]", "negative"},
		{"no priority", func(p *rules.Plan) { p.Rules[0].Priority = 0 }, "[rules 0 priority]", "low, medium or high"},
		{"turned bounds", func(p *rules.Plan) {
			p.Rules[0].Limit = &rules.Limit{Watch: "ankle.pressure", Outside: &[2]float64{30, 20}}
		}, "[rules 0 limit outside]", "smaller"},
		{"nothing inside", func(p *rules.Plan) {
			p.Rules[0].Limit = &rules.Limit{Watch: "ankle.pressure", Outside: &[2]float64{20, 30}, Deadband: 10}
		}, "[rules 0 limit deadband]", "less than 10"},
		{"gate of an unknown signal", func(p *rules.Plan) { p.Rules[0].While = "knee.pressure > 3" }, "[rules 0 while]", "column 1"},
		{"gate of the wrong unit", func(p *rules.Plan) { p.Rules[0].While = "ankle.pressure > 3 s" }, "[rules 0 while]", "column"},
		{"channel too high", func(p *rules.Plan) { p.Places[0].Sites[0].Channels[0].Index = 7 }, "[places 0 sites 0 channels 0]", "0 to 0"},
		{"no channel", func(p *rules.Plan) { p.Places[0].Sites[0].Channels = nil }, "[places 0 sites 0 channels]", "at least one"},
		{"mat too large", func(p *rules.Plan) {
			p.Places[0].Mat = &rules.Mat{Source: 0, Rows: 2, Columns: 2}
		}, "[places 0 mat rows]", "4 cells"},
		{"mat beyond all numbers", func(p *rules.Plan) {
			p.Places[0].Mat = &rules.Mat{Source: 0, Rows: 1 << 32, Columns: 1 << 32}
		}, "[places 0 mat rows]", "has 1 channels"},
		{"region of nothing", func(p *rules.Plan) {
			p.Places[0].Mat = &rules.Mat{Source: 0, Rows: 1, Columns: 1, Regions: []rules.Region{{ID: "r"}}}
		}, "[places 0 mat regions 0]", "at least one cell"},
		{"region off the mat", func(p *rules.Plan) {
			p.Places[0].Mat = &rules.Mat{Source: 0, Rows: 1, Columns: 1, Regions: []rules.Region{{ID: "r", Cells: []int{1}}}}
		}, "[places 0 mat regions 0]", "cell 1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := wrapOfTwoSources(above("ankle.pressure", 32, time.Second))
			if got := p.Check(); len(got) != 0 {
				t.Fatalf("a plan in order has problems: %v", got)
			}
			c.spoil(p)
			got := p.Check()
			if len(got) != 1 || fmt.Sprint(got[0].Path) != c.path || !strings.Contains(got[0].Message, c.says) {
				t.Errorf("problems %v, want one at %s that says %q", got, c.path, c.says)
			}
		})
	}
}

// A rule for all wraps is for those that have what it watches, and one is
// enough.
func TestRuleForAKindSkipsPlacesThatLackTheSite(t *testing.T) {
	p := wrapOfTwoSources(above("ankle.pressure", 32, 0))
	p.Places = append(p.Places, rules.Place{ID: "bench-2", Kind: rules.Wrap, Sites: []rules.Site{{ID: "calf", Channels: []rules.Channel{{Source: 1}}}}})
	p.Rules[0].At = rules.Where{Kind: rules.Wrap}
	s := newStory(t, p)
	s.scan(0, 0, 40)
	s.scan(1, 0, 40)
	s.Finish()
	s.expect(t, "0s raised bench-1~tight~ankle")
}

// A closed gate stops every clock: of raising, of clearing, of forgetting.
func TestGate(t *testing.T) {
	rule := above("ankle.pressure", 32, 5*time.Second)
	rule.While = "calf.pressure < 20"
	rule.OffDelay = 5 * time.Second
	p := leg(rule)
	p.Sources[0].StaleAfter = 3 * time.Second
	s := newStory(t, p)
	for at := range 40 {
		ankle, calf := 40.0, 10.0
		if at >= 3 && at < 10 || at >= 20 && at < 26 {
			calf = 30 // closed for 7 s, then for 6 s
		}
		if at >= 18 {
			ankle = 10
		}
		s.scan(0, time.Duration(at)*time.Second, ankle, calf)
	}
	s.Finish()
	// 3 s before the gate closed and 2 s after; then 2 s of off-delay, and 3
	// more once it is open again.
	s.expect(t, "12s raised bench-1~rule~ankle", "29s cleared bench-1~rule~ankle")
}

// An unknown gate is closed, and a gate that opens on a condition that is
// already true raises at once where there is no delay.
func TestUnknownGateIsClosed(t *testing.T) {
	rule := above("ankle.pressure", 32, 0)
	rule.While = "calf.pressure < 20"
	p := leg(rule)
	p.Sources[0].StaleAfter = 3 * time.Second
	s := newStory(t, p)
	s.scan(0, 0, 40, math.NaN())
	s.scan(0, time.Second, 40, math.NaN())
	s.expect(t)
	s.scan(0, 2*time.Second, 40, 10)
	s.expect(t, "2s raised bench-1~rule~ankle")
}

func TestSentences(t *testing.T) {
	for _, c := range []struct {
		u    []float64
		v    float64
		want string
	}{
		{[]float64{2}, 63.4, "ankle above 60 mmHg: 63 ± 2 mmHg when raised"},
		{[]float64{0.4}, 63.46, "ankle above 60 mmHg: 63.5 ± 0.4 mmHg when raised"},
		{nil, 60.04, "ankle above 60 mmHg: 60.04 mmHg when raised"},
		{nil, 163.4, "ankle above 60 mmHg: 163 mmHg when raised"},
	} {
		p := wrapOfTwoSources(above("ankle.pressure", 60, 0))
		p.Places[0].Sites[0].Channels = p.Places[0].Sites[0].Channels[:1]
		p.Sources[0].U = c.u
		s := newStory(t, p)
		s.scan(0, 0, c.v)
		if len(s.texts) != 1 || s.texts[0] != c.want {
			t.Errorf("%v ± %v says %q, want %q", c.v, c.u, s.texts, c.want)
		}
	}
	for d, want := range map[time.Duration]string{
		0: "0 s", 1500 * time.Millisecond: "1.5 s", 30 * time.Second: "30 s", 90 * time.Second: "1 min 30 s",
		2 * time.Hour: "2 h", 26*time.Hour + 5*time.Minute: "1 d 2 h 5 min", 59*time.Minute + 59600*time.Millisecond: "1 h",
	} {
		if got := rules.Duration(d); got != want {
			t.Errorf("Duration(%d) = %q, want %q", d, got, want)
		}
	}
	if alert.High.String() != "high" {
		t.Error("high is not called so")
	}
}
