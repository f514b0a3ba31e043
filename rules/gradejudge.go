package rules

import (
	"fmt"
	"math"
	"strings"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/limb"
)

// A gradeJudge judges the graduation between two neighbouring sites.
type gradeJudge struct {
	still
	grade            limb.Grade
	distal, proximal int // signals
	names            [2]string
}

func (j *gradeJudge) look(*place) {}

func (j *gradeJudge) condition(p *place) (sample.Truth, bool) {
	_, is := j.grade.Judge(p.signals[j.distal].Value, p.signals[j.proximal].Value)
	return is, false
}

func (j *gradeJudge) measured(p *place, e *alert.Event) {
	d, v := &p.signals[j.distal], &p.signals[j.proximal]
	e.Signal, e.Unit, e.Value, e.U = v.Name, "mmHg", v.Value, v.U
	e.Limit = math.Inf(1)
	if j.grade.Ratio > 0 {
		e.Limit = j.grade.Ratio * d.Value
	}
	if j.grade.Drop > 0 {
		e.Limit = math.Min(e.Limit, d.Value-j.grade.Drop)
	}
	if fault, _ := j.grade.Judge(d.Value, v.Value); fault == limb.TooSteep || math.IsInf(e.Limit, 1) {
		e.Limit = j.grade.Steepest * d.Value
	}
}

func (j *gradeJudge) words(p *place, e *alert.Event) said {
	d, v := &p.signals[j.distal], &p.signals[j.proximal]
	var faults []string
	if j.grade.Ratio > 0 {
		faults = append(faults, fmt.Sprintf("above %s %% of the %s", plain(100*j.grade.Ratio), spoken(j.names[0])))
	}
	if j.grade.Drop > 0 {
		faults = append(faults, fmt.Sprintf("less than %s mmHg below the %s", plain(j.grade.Drop), spoken(j.names[0])))
	}
	if j.grade.Steepest > 0 {
		faults = append(faults, fmt.Sprintf("below %s %% of the %s", plain(100*j.grade.Steepest), spoken(j.names[0])))
	}
	asked := strings.Join(faults, " or ")
	is := asked
	if fault, _ := j.grade.Judge(d.Value, v.Value); fault != limb.Fine {
		is = fmt.Sprintf("graduation %s (%s)", fault, asked)
	}
	reading := ""
	if v.Value == v.Value && d.Value == d.Value {
		reading = fmt.Sprintf("%s with %s at the %s", Quantity(v.Value, v.U, "mmHg", e.Limit), Quantity(d.Value, d.U, "mmHg", math.NaN()), spoken(j.names[0]))
		if d.Value >= limb.Judgeable {
			reading += fmt.Sprintf(", %.0f %%", limb.Residual(v.Value, d.Value))
		}
	}
	return said{subject: spoken(j.names[1]), is: is, asked: asked, reading: reading}
}
