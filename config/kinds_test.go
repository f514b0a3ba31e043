package config

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"weald/rules"
	"weald/rules/alert"
	"weald/rules/exposure"
	"weald/rules/relief"
)

// Every kind of rule, with its defaults and without.
func TestKinds(t *testing.T) {
	c := load(t, "testdata/kinds.yaml")
	all := []relief.Kind{relief.Shift, relief.Relief, relief.Transfer}
	want := []rules.Rule{
		{ID: "flat", Graduation: &rules.Graduation{Ratio: 0.8}},
		{ID: "steep", At: rules.Where{Place: "bench-1"}, Graduation: &rules.Graduation{Sites: [2]string{"ankle", "knee"}, Drop: 8, Steepest: 0.3}, While: "still and standing", OnDelay: 2 * time.Minute},
		{ID: "spent", Exposure: &rules.Exposure{Model: exposure.LinderGanz, Share: 0.8, Floor: 20, Recovery: 30 * time.Minute}, ResetsAfter: 2 * time.Minute},
		{ID: "table", Exposure: &rules.Exposure{Of: "ankle", Table: []exposure.Point{{MMHg: 40, Time: 8 * time.Hour}, {MMHg: 60, Time: 2 * time.Hour}}, Share: 1, Floor: 10, Recovery: time.Hour}, ResetsAfter: 5 * time.Minute},
		{ID: "sat", Relief: &rules.Relief{Interval: 30 * time.Minute, Depth: [2]float64{0.3, 0.9}, Lasting: 15 * time.Second, EmptyFor: time.Minute, Counts: all}},
		{ID: "sat-long", Relief: &rules.Relief{Interval: time.Hour, Depth: [2]float64{0.4, 0.8}, Lasting: 30 * time.Second, EmptyFor: 5 * time.Minute, Counts: all[1:]}},
		{ID: "fast", Rate: &rules.Rate{Watch: "ankle.pressure", Rise: 5, Per: time.Minute, Window: 10 * time.Minute}},
		{ID: "leaving", Rate: &rules.Rate{Watch: "mat.load", Fall: 100, Per: time.Second, Window: 10 * time.Second}},
		{ID: "slack", Drift: &rules.Drift{Site: "ankle", By: 9.4, Settle: 90 * time.Minute}},
		{ID: "stiff", Swing: &rules.Swing{Site: "ankle", Limit: rules.Limit{Watch: "ankle.swing", Below: new(10.0), Deadband: 1}}},
		{ID: "both", Formula: "ankle.pressure - calf.pressure < 5 and still"},
		{ID: "sensors", Quality: quality(rules.Faults...), OnDelay: time.Minute},
		{ID: "apart", Quality: quality(rules.Silent, rules.Disagrees)},
		{ID: "high", Limit: &rules.Limit{Watch: "calf.residual", Above: new(100.0)}},
	}
	for i := range want {
		want[i].ForgetAfter, want[i].Priority, want[i].Certainty = rules.DefaultForgetAfter, alert.Low, 0.5
	}
	if d := cmp.Diff(want, c.Plan().Rules); d != "" {
		t.Error(d)
	}
}

func quality(of ...rules.Fault) *rules.Quality {
	return &rules.Quality{Of: of, Unchanged: 10 * time.Minute, Share: 0.02, Loss: 0.05, Clock: 2 * time.Second, Battery: 15}
}
