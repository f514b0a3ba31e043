package fit

import (
	"math"
	"slices"
	"testing"

	"weald/ingest/calib/record"
	"weald/ingest/calib/simulate"
)

// A record says by which limits it was judged, and they may be set.
func TestARecordSaysItsLimits(t *testing.T) {
	rows := simulate.New(7, 0.8, simulate.Faults{Cycle: 1, Repeat: 0.7}).Table(3)
	for _, c := range []struct {
		record.Limits
		want record.Verdict
	}{{record.Limits{Warn: 50, Reject: 60}, record.Accepted}, {record.Limits{Warn: 0.5, Reject: 60}, record.Warned}, {record.Limits{Warn: 0.1, Reject: 0.5}, record.Rejected}} {
		o := Defaults()
		o.Warn, o.Reject, o.Noise = c.Warn, c.Reject, 4
		r, err := Fit(rows, o)
		if err != nil {
			t.Fatal(err)
		}
		kept := r.Record(rows, Circumstances{}, o)
		if kept.Verdict != c.want || kept.Limits == nil || *kept.Limits != c.Limits {
			t.Errorf("%s by %+v, want %s by %+v", kept.Verdict, kept.Limits, c.want, c.Limits)
		}
		if f := kept.Figures.Scatter; f == nil || math.Abs(f.MMHg-8/kept.Figures.Output*kept.Figures.FullScale) > 1e-9 {
			t.Errorf("single readings of 4 counts scatter by %+v", f)
		}
	}
}

// The residuals of the model that is taken are those that the record leaves.
func TestResidualsOfCandidates(t *testing.T) {
	rows := simulate.New(3, 0.8, simulate.Faults{Noise: 0.4, Loop: 4}).Table(2)
	o := Defaults()
	r, err := Fit(rows, o)
	if err != nil {
		t.Fatal(err)
	}
	own := r.Record(rows, Circumstances{}, o).Residuals()
	i := slices.IndexFunc(r.Candidates, func(c record.Candidate) bool { return c.Chosen })
	left, err := Residuals(r.Candidates[i].Model, r.Candidates[i].Branches, rows)
	if err != nil {
		t.Fatal(err)
	}
	for k := range own {
		if math.Abs(own[k].Left-left[k]) > 1e-9 {
			t.Errorf("row %d: %g and %g", k, own[k].Left, left[k])
		}
	}
}
