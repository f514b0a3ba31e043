package rules

import (
	"fmt"
	"math"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/exposure"
	"weald/rules/state"
)

// An exposureJudge judges the doses of a site, or of the cells that speak as one
// alert.
type exposureJudge struct {
	spec    exposure.Spec
	share   float64
	subject string
	site    int   // signal of a site's pressure, -1 for cells
	cells   []int // of the mat

	doses    []exposure.Dose
	pressure []float64 // mmHg, by dose; NaN unknown

	is    sample.Truth
	worst int           // the dose that has used most
	turn  time.Duration // until the condition changes; 0 for never
}

// newExposureJudge judges a site, or with site -1 cells.
func newExposureJudge(r *Rule, subject string, site int, cells []int) *exposureJudge {
	x := r.Exposure
	j := &exposureJudge{
		share: x.Share, subject: subject, site: site, cells: cells,
		spec: exposure.Spec{Model: x.model().Tabulated(), Floor: x.Floor, ResetsAfter: r.ResetsAfter, Recovery: x.Recovery, ForgetAfter: r.ForgetAfter},
	}
	n := max(1, len(cells))
	j.doses, j.pressure = make([]exposure.Dose, n), make([]float64, n)
	for i := range j.pressure {
		j.pressure[i] = sample.Unknown
	}
	return j
}

// model returns the model of an exposure that Check found nothing wrong with.
func (x *Exposure) model() *exposure.Model {
	if x.Model == "" {
		m, err := exposure.Table(x.Table)
		if err != nil {
			panic("rules: a plan that was not checked: " + err.Error())
		}
		return m
	}
	m, ok := exposure.Published(x.Model)
	if !ok {
		panic("rules: a plan that was not checked: there is no model " + x.Model)
	}
	return m
}

func (j *exposureJudge) look(p *place) {
	if j.site >= 0 {
		j.pressure[0] = p.signals[j.site].Value
	}
	for i, c := range j.cells {
		j.pressure[i] = p.mat.values[c]
	}
	j.judge()
}

// judge finds the condition and how long it will last.
func (j *exposureJudge) judge() {
	known, reached := 0, sample.No
	rises, falls, fallsFor := time.Duration(math.MaxInt64), true, time.Duration(0)
	j.worst = 0
	for i := range j.doses {
		d, v := &j.doses[i], j.pressure[i]
		if d.Used > j.doses[j.worst].Used {
			j.worst = i
		}
		if v != v {
			continue
		}
		known++
		over := d.Reached(j.share)
		if !over && (v <= j.spec.Floor || v < j.spec.Model.Lowest) {
			continue // at the lowest itself something is used
		}
		in, ok := d.Until(&j.spec, j.share, v)
		switch {
		case over:
			reached = sample.Yes
			falls = falls && ok
			fallsFor = max(fallsFor, in)
		case ok:
			rises = min(rises, in)
		}
	}
	j.turn = 0
	switch {
	case reached == sample.Yes:
		if j.is = reached; falls {
			j.turn = fallsFor
		}
	case 2*known < len(j.doses) || known == 0:
		j.is = sample.Maybe
	default:
		j.is = sample.No
	}
	if j.is != sample.Yes && rises != math.MaxInt64 {
		j.turn = rises
	}
}

func (j *exposureJudge) condition(*place) (sample.Truth, bool) { return j.is, false }

func (j *exposureJudge) waits(*place) string { return "" }

func (j *exposureJudge) turns() (time.Duration, bool) { return j.turn, j.turn > 0 }

func (j *exposureJudge) becomes() (time.Duration, bool) {
	return j.turn, j.turn > 0 && j.is != sample.Yes
}

func (j *exposureJudge) pass(span time.Duration) {
	if span == 0 {
		return
	}
	for i := range j.doses {
		j.doses[i].Advance(&j.spec, span, j.pressure[i])
	}
	if j.turn > 0 && span < j.turn {
		j.turn -= span
		for i := range j.doses {
			if j.doses[i].Used > j.doses[j.worst].Used {
				j.worst = i
			}
		}
		return
	}
	j.judge()
}

func (j *exposureJudge) used() float64 { return j.doses[j.worst].Used / j.share }

func (j *exposureJudge) measured(_ *place, e *alert.Event) {
	e.Signal, e.Unit, e.Limit, e.U = j.subject+".exposure", "%", 100*j.share, sample.Unknown
	if e.Value = 100 * j.doses[j.worst].Used; j.is == sample.Maybe {
		e.Value = sample.Unknown
	}
}

func (j *exposureJudge) words(p *place, e *alert.Event) said {
	asked := "at or above " + plain(math.Round(1000*j.share)/10) + " % of its tolerance"
	used := fmt.Sprintf("%.0f %% used", 100*j.doses[j.worst].Used)
	v, where := j.pressure[j.worst], ""
	switch {
	case v != v:
		used += ", now without a reading"
	case j.spec.Beyond(v):
		used += fmt.Sprintf(", now at %s, which is beyond the data of the model", Quantity(v, sample.Unknown, "mmHg", math.NaN()))
	default:
		used += ", now at " + Quantity(v, sample.Unknown, "mmHg", math.NaN())
	}
	if j.is == sample.Maybe {
		used = ""
	}
	if j.site < 0 {
		c, columns := j.cells[j.worst], p.mat.spec.Columns
		where = fmt.Sprintf("cell in row %d, column %d", c/columns+1, c%columns+1)
	}
	return said{
		subject: spoken(j.subject), is: asked, asked: asked, reading: used, where: where,
		note: j.spec.Model.Title + ": " + j.spec.Model.Caution,
	}
}

// Code implements state.Coder.
func (j *exposureJudge) Code(c *state.Codec) {
	for i := range j.doses {
		j.doses[i].Code(c)
	}
	c.Floats(j.pressure)
	c.Truth(&j.is)
	c.Int(&j.worst, 0, len(j.doses)-1)
	c.Duration(&j.turn)
}
