package fit

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
	"weald/ingest/calib/record"
)

// Auto leaves the choice of the model to the left-out levels.
const Auto curve.Model = "auto"

// Options are what a table does not say.
type Options struct {
	Model    curve.Model   // Auto, or the one to use
	Models   []curve.Model // what Auto tries; nil: all
	Branches *bool         // nil: as the left-out levels decide; else so

	ReferenceU float64 // standard uncertainty of the gauge, mmHg
	Rail       float64 // the highest count; 0: none
	Noise      float64 // standard deviation of a single live reading about its level, in counts
	Rate       float64 // live readings a second; 0: not known, taken to be 1

	Creep *curve.Creep // nil: not known, not corrected

	Warn, Reject float64       // acceptance limits of repeatability, % of full scale
	Valid        time.Duration // how long the record holds
	Drift        float64       // what the channel may drift in that time, +/- % of full scale
}

// Defaults are the options where nothing is said. The gauge is one of +/-3 mmHg
// (ISO 81060-1, from memory); the limits are those of common practice.
func Defaults() Options {
	return Options{Model: Auto, ReferenceU: 3 / math.Sqrt(3), Warn: 5, Reject: 15, Valid: 90 * 24 * time.Hour, Drift: 2}
}

// Limits are the acceptance limits of o.
func (o *Options) Limits() record.Limits { return record.Limits{Warn: o.Warn, Reject: o.Reject} }

// A Result is a fit: a record without the particulars of who and when.
type Result struct {
	Calibration curve.Calibration
	Candidates  []record.Candidate
	Figures     figures.Figures
	Verdict     record.Verdict
	Remarks     []string

	// Of the chosen model, for who wants the fit itself: the loading curve's
	// standard errors, and of all residuals of both curves the standard
	// deviation (mmHg) and what they leave of the variance.
	StandardErrors []float64
	ResidualSD     float64
	RSquared       float64
	LeaveOneOut    float64
}

// Fit makes a calibration of a table. The error is a Refused if the table
// cannot be a calibration.
func Fit(rows []figures.Row, o Options) (*Result, error) {
	rail := o.Rail
	if rail == 0 {
		rail = math.Inf(1)
	}
	if refused := inspect(rows, rail, o.Noise); refused != nil {
		return nil, refused
	}
	all := candidates(rows, o)
	i := choose(all, o)
	if i < 0 {
		return nil, fmt.Errorf("no model can be fitted: %w", errors.Join(failures(all)...))
	}
	c := all[i]
	r := &Result{ResidualSD: c.sd, LeaveOneOut: c.loo, StandardErrors: c.up.errors, RSquared: rSquared(c, rows)}
	r.Candidates = list(all, i)
	r.Figures = figures.Of(rows)
	r.Calibration = curve.Calibration{
		Version: curve.Version, Loading: c.up.curve, Creep: o.Creep,
		Raw: spread(rows, func(r figures.Row) float64 { return r.Raw }), MMHg: spread(rows, referenceOf),
	}
	if c.down != nil {
		r.Calibration.Unloading = &c.down.curve
	}
	remarks := r.budget(rows, c, o)
	r.complete(rows, o)
	r.judge(remarks, o)
	return r, r.Calibration.Check()
}

func spread(rows []figures.Row, of func(figures.Row) float64) curve.Range {
	r := curve.Range{Low: math.Inf(1), High: math.Inf(-1)}
	for _, row := range rows {
		r.Low, r.High = min(r.Low, of(row)), max(r.High, of(row))
	}
	return r
}

// candidates tries every model, and every model with branches where rows have
// both directions.
func candidates(rows []figures.Row, o Options) (out []candidate) {
	models := o.Models
	if models == nil {
		models = curve.Models
	}
	for _, branches := range []bool{false, true} {
		for _, m := range models {
			if !branches || figures.Directed(rows) {
				out = append(out, try(m, rows, branches))
			}
		}
	}
	return out
}

// choose returns the candidate to take: the stiffest within 10 % of the smallest
// left-out error, of those that the options admit; -1 if there is none.
func choose(all []candidate, o Options) int {
	admitted := func(c candidate) bool {
		return c.err == nil && c.loo == c.loo && (o.Model == Auto || o.Model == c.model) && (o.Branches == nil || *o.Branches == c.branches)
	}
	least := math.Inf(1)
	for _, c := range all {
		if admitted(c) {
			least = min(least, c.loo)
		}
	}
	return slices.IndexFunc(all, func(c candidate) bool { return admitted(c) && c.loo <= 1.1*least })
}

func failures(all []candidate) (out []error) {
	for _, c := range all {
		if c.err != nil {
			out = append(out, fmt.Errorf("%s: %w", c.model, c.err))
		}
	}
	return out
}

func list(all []candidate, chosen int) (out []record.Candidate) {
	for i, c := range all {
		r := record.Candidate{Model: c.model, Branches: c.branches, Chosen: i == chosen}
		if c.err != nil {
			r.Note = c.err.Error()
		} else {
			r.Error = &c.loo
			if c.sd == c.sd {
				r.Residual = &c.sd
			}
		}
		out = append(out, r)
	}
	return out
}

func rSquared(c candidate, rows []figures.Row) float64 {
	sse, sst, mean := 0.0, 0.0, 0.0
	for _, r := range rows {
		mean += r.Reference / float64(len(rows))
	}
	for _, r := range rows {
		f := c.up
		if c.down != nil && r.Direction == figures.Down {
			f = *c.down
		}
		d := r.Reference - f.curve.At(r.Raw)
		sse += d * d
		sst += (r.Reference - mean) * (r.Reference - mean)
	}
	return 1 - sse/sst
}

// Circumstances are what a record says beside its fit.
type Circumstances struct {
	Bridge, Source string
	Channel        int

	At          time.Time // when the readings were taken
	By          string    // who took them, a code
	Reference   string    // the gauge
	Temperature *float64  // °C; nil: not known
	Method      string    // how the pressures were applied; "": not said
}

// Record completes r, which was fitted to rows with o, to a record.
func (r *Result) Record(rows []figures.Row, c Circumstances, o Options) *record.Record {
	at, limits := c.At.UTC().Truncate(time.Second), o.Limits()
	return &record.Record{
		Version: record.Version, Bridge: c.Bridge, Source: c.Source, Channel: c.Channel, At: at, By: c.By,
		Reference: record.Instrument{Name: c.Reference, U: o.ReferenceU}, Temperature: c.Temperature, Method: c.Method,
		Rows: slices.Clone(rows), Candidates: r.Candidates, Calibration: r.Calibration, Figures: r.Figures,
		Limits: &limits, Verdict: r.Verdict, Remarks: r.Remarks, ValidUntil: at.Add(o.Valid),
	}
}

// Record completes the reasons why rows could not be a calibration to what is kept
// of it.
func (why Refused) Record(rows []figures.Row, c Circumstances, o Options) *record.Refused {
	limits := o.Limits()
	r := &record.Refused{
		Version: record.RefusedVersion, Bridge: c.Bridge, Source: c.Source, Channel: c.Channel, At: c.At.UTC().Truncate(time.Second), By: c.By,
		Reference: record.Instrument{Name: c.Reference, U: o.ReferenceU}, Temperature: c.Temperature, Method: c.Method,
		Rows: slices.Clone(rows), Limits: &limits,
	}
	for _, one := range why {
		r.Reasons = append(r.Reasons, one.Error())
	}
	return r
}
