package rules

import (
	"fmt"
	"math"
	"strings"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/hold"
	"weald/rules/limb"
)

// A gradeJudge judges the graduation between two neighbouring sites.
type gradeJudge struct {
	still
	rule             *Rule
	grade            limb.Grade
	distal, proximal int // signals
	names            [2]string
}

func (j *gradeJudge) look(*place) {}

func (j *gradeJudge) condition(p *place) (sample.Truth, bool) {
	d, v := &p.signals[j.distal], &p.signals[j.proximal]
	_, is := j.grade.Judge(d.Value, v.Value)
	if j.rule.certainty() != hold.Half && is != sample.Maybe && d.Value >= limb.Judgeable {
		is = j.probably(d, v)
	}
	return is, false
}

// probably is the condition with a certainty: that of any one of the bounds, each
// by itself. A bound compares the proximal pressure with a share of the distal
// one, of which the uncertainties add as JCGM 100 has it (5.2.2): the independent
// parts in squares, the parts in common with their signs.
func (j *gradeJudge) probably(d, v *Signal) sample.Truth {
	own := func(s *Signal) float64 { return s.U*s.U - s.Shared*s.Shared }
	beyond := func(set bool, share, excess float64) sample.Truth {
		if !set {
			return sample.No
		}
		common := v.Shared - share*d.Shared
		band := hold.Above(0, 0).At(j.rule.certainty())
		is, _ := band.Judge(excess, math.Sqrt(own(v)+share*share*own(d)+common*common), 0)
		return is
	}
	g := &j.grade
	return beyond(g.Ratio > 0, g.Ratio, v.Value-g.Ratio*d.Value).
		Or(beyond(g.Drop > 0, 1, g.Drop-(d.Value-v.Value))).
		Or(beyond(g.Steepest > 0, g.Steepest, g.Steepest*d.Value-v.Value))
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
	sure := j.rule.sure()
	return said{subject: spoken(j.names[1]), is: is + sure, asked: asked + sure, reading: reading, note: reservation(d.Extrapolated || v.Extrapolated, d.Expired || v.Expired)}
}
