package api

import (
	"context"

	"github.com/danielgtaylor/huma/v2"

	"weald/ingest/calib/figures"
	"weald/ingest/calib/fit"
	calibration "weald/ingest/calib/record"
	"weald/stream/view"
)

type limitsBody struct {
	Warn   float64 `json:"warn_percent_fs" doc:"Above it there is a warning"`
	Reject float64 `json:"reject_percent_fs" doc:"Above it the channel is rejected"`
}

type accountFigure struct {
	Name    string   `json:"name"`
	MMHg    *float64 `json:"mmhg" doc:"Null where the readings do not tell"`
	Percent *float64 `json:"percent_fs" doc:"Of full scale"`
	At      *float64 `json:"at_mmhg" doc:"Where it was largest; null for a figure of the whole range"`
	Verdict string   `json:"verdict" enum:",accepted,accepted with warnings,rejected" doc:"What the limits say of it; empty for a figure that is not judged, or not known, or of a record that does not say its limits"`
}

type accountLevel struct {
	At        float64  `json:"mmhg"`
	Readings  int      `json:"readings"`
	Loading   *float64 `json:"loading" doc:"Mean counts on the way up"`
	Unloading *float64 `json:"unloading" doc:"Mean counts on the way down"`
	Worst     float64  `json:"worst_mmhg" doc:"What the record makes of a reading less the gauge, where that is largest either way"`
	Combined  *float64 `json:"u_mmhg" doc:"Combined standard uncertainty when the record expires"`
}

type accountReading struct {
	Cycle     int     `json:"cycle" doc:"From 1; 0 where it is not known"`
	Direction string  `json:"direction" enum:"up,down,"`
	Reference float64 `json:"reference_mmhg"`
	Raw       float64 `json:"raw"`
}

type accountResiduals struct {
	Model    string    `json:"model"`
	Branches bool      `json:"branches"`
	Chosen   bool      `json:"chosen"`
	Left     []float64 `json:"left_mmhg" nullable:"false" doc:"By reading: what it makes of it less the gauge"`
}

type accountBand struct {
	MMHg []float64 `json:"mmhg" nullable:"false"`
	U    []float64 `json:"u_mmhg" nullable:"false" doc:"Combined standard uncertainty just after calibrating"`
}

// An account is what a record says for itself: what it is judged by, and what it
// leaves of its own readings.
type account struct {
	Limits    *limitsBody        `json:"limits" doc:"Acceptance limits that it was judged by; null in what earlier programs kept"`
	Figures   []accountFigure    `json:"figures" nullable:"false"`
	Creep     *float64           `json:"creep_per_decade_percent"`
	Levels    []accountLevel     `json:"levels" nullable:"false" doc:"By rising pressure"`
	Readings  []accountReading   `json:"readings" nullable:"false"`
	Residuals []accountResiduals `json:"residuals" nullable:"false" doc:"Of every model that could be fitted"`
	Band      accountBand        `json:"band"`
}

type runAccountInput struct {
	Channel int `path:"channel" minimum:"0"`
}

func (s *server) addCalibrationAccount(api huma.API) {
	huma.Register(api, operation("calibration-run-channel", "What came of a channel of the calibration that has been read, in figures; nothing of it is kept yet", 404), s.runAccount)
}

func (s *server) runAccount(_ context.Context, in *runAccountInput) (*answer[account], error) {
	desk, err := s.bench()
	if err != nil {
		return nil, err
	}
	p, err := desk.Progress()
	if err != nil {
		return nil, benchError(err)
	}
	for i := range p.Channels {
		if c := &p.Channels[i]; c.Index == in.Channel && c.Made != nil && c.Made.Record != nil {
			return &answer[account]{*accountOf(c.Made.Record)}, nil
		}
	}
	return nil, huma.Error404NotFound("nothing has come of such a channel")
}

// bandPoints is how many points of the uncertainty are drawn.
const bandPoints = 41

func accountOf(r *calibration.Record) *account {
	c := &r.Calibration
	a := &account{Figures: []accountFigure{}, Creep: r.Figures.CreepPerDecade, Levels: []accountLevel{}, Readings: []accountReading{}, Residuals: []accountResiduals{}}
	if l := r.Limits; l != nil {
		a.Limits = &limitsBody{l.Warn, l.Reject}
	}
	for _, f := range r.Figures.Named() {
		a.Figures = append(a.Figures, accountFigureOf(&f, r.Limits))
	}
	for _, l := range r.Levels() {
		a.Levels = append(a.Levels, accountLevel{l.At, l.Readings, view.Number(l.Loading), view.Number(l.Unloading), l.Worst, view.Number(l.Combined)})
	}
	own := []float64{}
	for _, one := range r.Residuals() {
		own = append(own, one.Left)
		a.Readings = append(a.Readings, accountReading{one.Cycle, string(one.Direction), one.Reference, one.Raw})
	}
	for _, k := range r.Candidates {
		left := own
		if !k.Chosen {
			var err error
			if left, err = fit.Residuals(k.Model, k.Branches, r.Rows); err != nil || k.Error == nil {
				continue // its note in the record says why
			}
		}
		a.Residuals = append(a.Residuals, accountResiduals{string(k.Model), k.Branches, k.Chosen, left})
	}
	for i := range bandPoints {
		p := c.MMHg.Low + c.MMHg.Span()*float64(i)/(bandPoints-1)
		_, u := c.At(c.Inverse(p))
		a.Band.MMHg, a.Band.U = append(a.Band.MMHg, p), append(a.Band.U, u)
	}
	return a
}

func accountFigureOf(f *figures.Named, limits *calibration.Limits) accountFigure {
	out := accountFigure{Name: f.Name}
	if f.Figure == nil {
		return out
	}
	out.MMHg, out.Percent = &f.MMHg, &f.Percent
	if !f.Whole {
		out.At = &f.At
	}
	if f.Judged && limits != nil {
		out.Verdict = string(limits.Judge(f.Percent))
	}
	return out
}
