package report_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"weald/rules/attempt"
	"weald/rules/compression"
	"weald/stream/record"
)

// Two tries of one person: the numbers are those that rules/attempt is held to. 0.5 kgf,
// 2 layers, 10 cm wide predict 21.0 mmHg at 22 cm (Thomas, World Wide Wounds, June 2003),
// and standing 58 after lying 40 is a stiffness of 18 (Partsch, Dermatol Surg
// 2005;31:625-630).
func TestAttempt(t *testing.T) {
	a := newArchive(t, evening, bench)
	plan := &attempt.Plan{
		Sites:    []attempt.Site{{ID: "ankle", HeightCM: 12, GirthCM: 22, Aim: attempt.Band{Low: 35, High: 45}}, {ID: "calf", HeightCM: 31, GirthCM: 35, Aim: attempt.Band{Low: 20, High: 30}}},
		Wrapping: compression.Wrapping{Newtons: 0.5 * compression.Gravity, Layers: 2, WidthCM: 10},
	}
	read := func(step attempt.Step, at time.Duration, values ...float64) *attempt.Reading {
		r := &attempt.Reading{Step: step, At: a.at(at)}
		for _, v := range values {
			r.Values = append(r.Values, attempt.Value{MMHg: v, U: 2, Shared: 1.2})
		}
		return r
	}
	step := func(id string, at time.Duration, what string, r *attempt.Reading, notes string) {
		b := record.Attempt{ID: id, What: what, Code: "K-07", Lesson: "L-3", Config: 1, Read: r, Notes: notes}
		if what == "begun" {
			b.Plan = plan
		}
		a.note(at, "bench-1", "T-1", b)
	}
	const later = 10 * time.Minute
	step("a-one", 0, "begun", nil, "")
	step("a-one", time.Minute, "read", read(attempt.Lying, time.Minute, 30, 32), "")
	step("a-one", 2*time.Minute, "ended", nil, "")
	step("a-two", later, "begun", nil, "the <b>second</b>")
	step("a-two", later+time.Minute, "read", read(attempt.Lying, later+time.Minute, 40, math.NaN()), "")
	step("a-two", later+2*time.Minute, "read", read(attempt.Standing, later+2*time.Minute, 58, 37), "")
	d, err := a.source(time.UTC).Attempt(t.Context(), "a-two")
	page := written(t, d, err)
	p := newLook(page)
	p.has(t, "Try of K-07 at bench-1")
	p.has(t, "The try goes on.")
	p.has(t, "1 of 1 site in the band. Of 1 site that is not known.")
	p.has(t, "class L-3")
	p.has(t, "ankle 22 cm 35 to 45 mmHg 40 ± 2 mmHg in the band – – 12 to 21 mmHg")
	p.has(t, "calf 35 cm 20 to 30 mmHg not known not known not known not known 8 to 13 mmHg")
	p.has(t, "stiffness walking amplitude ankle 18 ± 2 mmHg not known calf not known not known")
	p.has(t, "walking not read swing not known not known")
	p.has(t, "1 Mar 22:00:00 bands of their own 0 of 2 0.59 ankle 30 ± 2 mmHg, calf 32 ± 2 mmHg") // 30 × 22 / (32 × 35)
	p.has(t, "up to 42 % less just above the ankle")
	for _, no := range []string{"<b>", "NaN", "Inf", "%!"} {
		if strings.Contains(page, no) {
			t.Errorf("the page has %q in it", no)
		}
	}
	if _, err := a.source(time.UTC).Attempt(t.Context(), "a-none"); err == nil {
		t.Error("there is a report of no try")
	}
}
