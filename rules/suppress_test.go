package rules

import (
	"slices"
	"testing"

	"weald/ingest/sample"
	"weald/rules/alert"
)

type changes struct{ what []string }

func (c *changes) Alert(e alert.Event) {
	c.what = append(c.what, string(e.What)+" "+string(e.State))
}
func (*changes) Updated(int, sample.Instant) {}
func (*changes) Late(int, *sample.Scan)      {}

// Alerts of a bed that is empty are put aside and measured on; of one that may or
// may not be, they are not.
func TestSuppressedByDesign(t *testing.T) {
	limit := 32.0
	plan := &Plan{
		Sources: []Source{{ID: "hub/leg", Channels: 1, StaleAfter: 1e9, Calibrated: true}},
		Places:  []Place{{ID: "seat-1", Kind: Seat, Sites: []Site{{ID: "left", Channels: []Channel{{}}}}}},
		Rules:   []Rule{{ID: "tight", Limit: &Limit{Watch: "left.pressure", Above: &limit}, Priority: alert.Low, ForgetAfter: DefaultForgetAfter}},
	}
	var told changes
	e := NewEngine(plan, &told)
	at := sample.Instant(0)
	scan := func(v float64, nobody sample.Truth) {
		p := e.places[0]
		e.Scan(&sample.Scan{At: at, Arrived: at, Values: []float64{v}})
		p.suppress(&plan.Rules[0], nobody)
		p.suppress(&plan.Rules[0], nobody) // as often as one likes
		p.settle()
		at = at.Add(1e9)
	}
	scan(20, sample.Maybe)
	scan(40, sample.No)
	scan(40, sample.Yes)
	scan(40, sample.Maybe)
	scan(40, sample.Yes)
	scan(20, sample.Yes)
	scan(40, sample.Yes)
	scan(20, sample.Yes)
	scan(20, sample.No)
	want := []string{
		"raised unacknowledged", "suppressed suppressed", "unsuppressed unacknowledged", "suppressed suppressed",
		"cleared suppressed", "raised suppressed", "cleared suppressed", "unsuppressed normal",
	}
	if !slices.Equal(told.what, want) {
		t.Errorf("told %q, want %q", told.what, want)
	}
}
