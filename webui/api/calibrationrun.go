package api

import (
	"context"
	"crypto/rand"
	"errors"
	"math"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/fit"
	"weald/ingest/calib/protocol"
	calibration "weald/ingest/calib/record"
	"weald/stream/calibrating"
	"weald/stream/view"
)

type runLevel struct {
	Cycle     int        `json:"cycle"`
	Direction string     `json:"direction" enum:"up,down"`
	Reference float64    `json:"reference_mmhg" doc:"Asked for, or what the gauge showed"`
	At        *time.Time `json:"at" doc:"When it was read; null for those to come"`
	Raw       []*float64 `json:"raw" nullable:"false" doc:"One for each of channels, in counts; null where it did not settle or was not heard; empty for levels to come"`
	Doubt     string     `json:"doubt" doc:"Why it may not be at that pressure, by what the channels read, and what to do; empty where there is no doubt"`
}

type runCandidate struct {
	Model    string   `json:"model"`
	Branches bool     `json:"branches"`
	Error    *float64 `json:"leave_one_out_mmhg"`
	Chosen   bool     `json:"chosen"`
	Note     string   `json:"note"`
}

type runChannel struct {
	Channel    int            `json:"channel"`
	State      string         `json:"state" enum:"silent,sparse,waiting,moving,settled,accepted,accepted with warnings,rejected,refused"`
	Raw        *float64       `json:"raw" doc:"Of late, in counts"`
	SinceS     float64        `json:"since_s" doc:"For how long it has been where it is"`
	Reasons    []string       `json:"reasons" nullable:"false" doc:"Why it was refused and what to do, or what the verdict rests on"`
	Candidates []runCandidate `json:"candidates" nullable:"false"`
	HighestU   *float64       `json:"u_highest_mmhg"`
	Curves     []runCurve     `json:"curves" nullable:"false" doc:"Loading, and unloading where it has one of its own"`
	Kept       string         `json:"kept" doc:"The id of its record once that is in force"`
}

type runCurve struct {
	Raw  []float64 `json:"raw" nullable:"false"`
	MMHg []float64 `json:"mmhg" nullable:"false"`
}

type calibrationRun struct {
	ID         string       `json:"id"`
	Bridge     string       `json:"bridge"`
	Source     string       `json:"source"`
	By         string       `json:"by"`
	Reference  string       `json:"reference"`
	BegunAt    time.Time    `json:"begun_at"`
	DwellS     float64      `json:"dwell_s"`
	Keyed      bool         `json:"keyed"`
	Levels     []runLevel   `json:"levels" nullable:"false"`
	Next       int          `json:"next" doc:"The level to go to, from 0; the number of levels when all have been read"`
	HoldS      float64      `json:"hold_s" doc:"How long the last level is held to learn creep; 0 where there is no such level"`
	HoldLeftS  *float64     `json:"hold_left_s" doc:"For how much longer it is; null where nothing is held. The large key ends it"`
	IsFitting  bool         `json:"fitting" doc:"No more pressures are read, and what comes of them is being worked out"`
	IsFinished bool         `json:"finished"`
	Unsaved    string       `json:"unsaved" doc:"Why what was read would not outlive the daemon; empty if it would"`
	Channels   []runChannel `json:"channels" nullable:"false"`
}

type runBody struct {
	Runs []calibrationRun `json:"runs" nullable:"false" maxItems:"1" doc:"The one that goes on, if one does"`
}

type beginRun struct {
	Body struct {
		Bridge      string   `json:"bridge" minLength:"1" maxLength:"64"`
		Source      string   `json:"source" minLength:"1" maxLength:"64"`
		Channels    []int    `json:"channels" nullable:"false" minItems:"1" maxItems:"4096" doc:"Those under the cuff"`
		By          string   `json:"by,omitempty" maxLength:"64" doc:"Who calibrates, a code such as E-01; known by itself where there are accounts"`
		Reference   string   `json:"reference" minLength:"1" maxLength:"200" doc:"The gauge"`
		ReferenceU  *float64 `json:"reference_u_mmhg,omitempty" minimum:"0"`
		Temperature *float64 `json:"temperature_c,omitempty"`
		Method      string   `json:"method,omitempty" maxLength:"1000"`
		Lowest      float64  `json:"lowest_mmhg,omitempty" minimum:"0" maximum:"300" default:"0"`
		Highest     float64  `json:"highest_mmhg,omitempty" minimum:"1" maximum:"300" default:"100"`
		Step        float64  `json:"step_mmhg,omitempty" minimum:"1" maximum:"100" default:"10"`
		Cycles      int      `json:"cycles,omitempty" minimum:"1" maximum:"10" default:"3"`
		DwellS      float64  `json:"dwell_s,omitempty" minimum:"5" maximum:"600" default:"20" doc:"How long each pressure is held before it is read"`
		HoldS       float64  `json:"hold_s,omitempty" minimum:"0" maximum:"3600" doc:"How long the highest pressure is held once more at the end, to learn creep; 180 at least, or 0 for not at all"`
		Keyed       bool     `json:"keyed,omitempty" doc:"Wait at every pressure until somebody says that it is there"`
		Rail        float64  `json:"rail,omitempty" minimum:"0" doc:"The highest count that a channel can read; 0 for not known"`
		Acceptance
	}
}

type runInput struct {
	Body struct {
		Run string `json:"run" minLength:"1" maxLength:"64" doc:"The id of the run: nothing is done to another one"`
	}
}

type gaugeInput struct {
	Body struct {
		Run   string  `json:"run" minLength:"1" maxLength:"64" doc:"The id of the run"`
		Level int     `json:"level" minimum:"0" doc:"From 0; one that has been read, or the next"`
		MMHg  float64 `json:"mmhg" minimum:"0" maximum:"300"`
		Sure  bool    `json:"sure,omitempty" doc:"It is in mmHg, though it looks like the planned one in kPa"`
	}
}

type keepRun struct {
	Body struct {
		Run      string `json:"run" minLength:"1" maxLength:"64" doc:"The id of the run"`
		Channels []int  `json:"channels,omitempty" nullable:"false" maxItems:"4096" doc:"Without it, all that were accepted"`
	}
}

func (s *server) addCalibrationRun(api huma.API) {
	huma.Register(api, operation("calibration-run", "The calibration that goes on, with the pressures read and how each channel stands"), s.showRun)
	huma.Register(api, noted("begin-calibration-run", "Begin to calibrate channels under a cuff", 404, 409), s.beginRun)
	huma.Register(api, step("calibration-run-ready", "The next pressure is there: read it when it has settled", 404, 409), s.stepRun((*calibrating.Desk).Ready))
	huma.Register(api, step("calibration-run-again", "Take back the pressure that was read last", 404, 409), s.stepRun((*calibrating.Desk).Again))
	huma.Register(api, step("calibration-run-finish", "Fit what has been read so far", 404, 409), s.stepRun((*calibrating.Desk).Finish))
	huma.Register(api, step("calibration-run-leave", "End the run; what was put into force stays so", 404, 409), s.stepRun((*calibrating.Desk).Leave))
	huma.Register(api, step("calibration-run-gauge", "What the gauge shows, where it is not what was asked for", 404, 409), s.gaugeRun)
	huma.Register(api, step("calibration-run-keep", "Put what came of it into force; it is on the disk when this is answered", 404, 409), s.keepRun)
}

// bench returns the desk, or an error where nothing is kept.
func (s *server) bench() (*calibrating.Desk, error) {
	if err := s.recording(); err != nil {
		return nil, err
	}
	if s.Calibrating == nil {
		return nil, huma.Error503ServiceUnavailable("this daemon cannot lead a calibration")
	}
	return s.Calibrating, nil
}

func benchError(err error) error {
	var answered huma.StatusError
	switch {
	case errors.As(err, &answered):
		return err
	case errors.Is(err, calibrating.ErrNone), errors.Is(err, calibrating.ErrChannel):
		return huma.Error404NotFound(err.Error())
	case errors.Is(err, calibrating.ErrBusy), errors.Is(err, calibrating.ErrOther), errors.Is(err, calibrating.ErrStage):
		return huma.Error409Conflict(err.Error())
	default:
		return huma.Error422UnprocessableEntity(err.Error())
	}
}

func (s *server) showRun(context.Context, *struct{}) (*answer[runBody], error) {
	desk, err := s.bench()
	if err != nil {
		return nil, err
	}
	p, err := desk.Progress()
	if err != nil {
		return &answer[runBody]{runBody{[]calibrationRun{}}}, nil
	}
	return &answer[runBody]{runBody{[]calibrationRun{runOf(p)}}}, nil
}

func (s *server) beginRun(ctx context.Context, in *beginRun) (*answer[runBody], error) {
	desk, err := s.bench()
	if err != nil {
		return nil, err
	}
	b := &in.Body
	if err := s.sign(ctx, "by", &b.By); err != nil {
		return nil, err
	}
	i, err := s.channelsOf(b.Bridge, b.Source, nil) // the desk looks at the channels
	if err != nil {
		return nil, err
	}
	levels, err := protocol.Levels(b.Lowest, b.Highest, b.Step, b.Cycles)
	if err != nil {
		return nil, huma.Error422UnprocessableEntity(err.Error())
	}
	o := fitWith(b.ReferenceU, b.Rail)
	if err := b.Acceptance.into(&o); err != nil {
		return nil, err
	}
	hold := time.Duration(b.HoldS * float64(time.Second))
	if hold > 0 {
		levels = protocol.Held(levels)
	}
	err = desk.Begin("c-"+strings.ToLower(rand.Text()[:10]), calibrating.Ask{
		Of:    fit.Circumstances{Bridge: b.Bridge, Source: b.Source, By: b.By, Reference: b.Reference, Temperature: b.Temperature, Method: b.Method},
		Index: i, Width: s.Plan.Sources[i].Channels, Channels: b.Channels,
		Plan: protocol.Plan{Levels: levels, Rate: s.rate(b.Bridge + "/" + b.Source), Dwell: time.Duration(b.DwellS * float64(time.Second)), Hold: hold, Keyed: b.Keyed},
		Fit:  o,
	})
	if err != nil {
		return nil, benchError(err)
	}
	return s.showRun(ctx, nil)
}

func (s *server) stepRun(do func(*calibrating.Desk, string) error) func(context.Context, *runInput) (*answer[runBody], error) {
	return func(ctx context.Context, in *runInput) (*answer[runBody], error) {
		return s.onBench(ctx, func(d *calibrating.Desk) error { return do(d, in.Body.Run) })
	}
}

func (s *server) gaugeRun(ctx context.Context, in *gaugeInput) (*answer[runBody], error) {
	return s.onBench(ctx, func(d *calibrating.Desk) error {
		return d.Gauge(in.Body.Run, in.Body.Level, in.Body.MMHg, in.Body.Sure)
	})
}

func (s *server) keepRun(ctx context.Context, in *keepRun) (*answer[runBody], error) {
	return s.onBench(ctx, func(d *calibrating.Desk) error {
		return d.Keep(in.Body.Run, in.Body.Channels, func(r *calibration.Record) (bool, error) { return s.putIntoForce(ctx, r) })
	})
}

// onBench does something at the desk, and says how the run stands then.
func (s *server) onBench(ctx context.Context, do func(*calibrating.Desk) error) (*answer[runBody], error) {
	desk, err := s.bench()
	if err != nil {
		return nil, err
	}
	if err := do(desk); err != nil {
		return nil, benchError(err)
	}
	return s.showRun(ctx, nil)
}

// rate returns how many scans a source sends a second, measured, or as configured
// where nothing has been; 0 where neither is known.
func (s *server) rate(id string) float64 {
	for _, b := range s.Bridges() {
		for i := range b.Sources {
			switch v := &b.Sources[i]; {
			case v.ID != id:
			case v.Rate != nil && *v.Rate > 0:
				return *v.Rate
			case v.Nominal != nil:
				return *v.Nominal
			}
		}
	}
	return 0
}

func runOf(p *calibrating.Progress) calibrationRun {
	r := calibrationRun{
		ID: p.ID, Bridge: p.Ask.Of.Bridge, Source: p.Ask.Of.Source, By: p.Ask.Of.By, Reference: p.Ask.Of.Reference, BegunAt: p.Began.Time(),
		DwellS: p.Plan.Dwell.Seconds(), Keyed: p.Plan.Keyed, Next: len(p.Taken), IsFitting: p.Fitting, IsFinished: p.Finished,
		Levels: []runLevel{}, Channels: []runChannel{},
	}
	if r.HoldS = p.Plan.Hold.Seconds(); p.Holding != nil {
		left := p.Holding.Seconds()
		r.HoldLeftS = &left
	}
	if p.Unsaved != nil {
		r.Unsaved = p.Unsaved.Error()
	}
	for i, l := range p.Plan.Levels {
		one := runLevel{Cycle: l.Cycle, Direction: string(l.Direction), Reference: l.Reference, Raw: []*float64{}}
		if i < len(p.Taken) {
			t := &p.Taken[i]
			at := t.At.Time()
			one.At, one.Reference, one.Doubt = &at, t.Reference, p.Doubts[i]
			for _, c := range p.Ask.Channels {
				one.Raw = append(one.Raw, view.Number(t.Raw[c]))
			}
		}
		r.Levels = append(r.Levels, one)
	}
	for i := range p.Channels {
		r.Channels = append(r.Channels, runChannelOf(&p.Channels[i]))
	}
	return r
}

func runChannelOf(c *calibrating.Channel) runChannel {
	one := runChannel{Channel: c.Index, State: string(c.Standing.State), SinceS: c.Standing.Since.Seconds(), Kept: c.Kept,
		Reasons: []string{}, Candidates: []runCandidate{}, Curves: []runCurve{}}
	if !math.IsNaN(c.Standing.Raw) {
		one.Raw = view.Number(c.Standing.Raw)
	}
	if c.Made == nil {
		return one
	}
	one.Raw, one.State = nil, "refused"
	for _, why := range c.Made.Refused {
		one.Reasons = append(one.Reasons, why.Error())
	}
	if r := c.Made.Record; r != nil {
		one.State, one.Reasons = string(r.Verdict), append(one.Reasons, r.Remarks...)
		for _, k := range r.Candidates {
			one.Candidates = append(one.Candidates, runCandidate{string(k.Model), k.Branches, k.Error, k.Chosen, k.Note})
		}
		if f := r.Figures.UHighest; f != nil {
			one.HighestU = &f.MMHg
		}
		one.Curves = append(one.Curves, curveOf(r, &r.Calibration.Loading))
		if u := r.Calibration.Unloading; u != nil {
			one.Curves = append(one.Curves, curveOf(r, u))
		}
	}
	return one
}

// curvePoints is how many points of a curve are drawn.
const curvePoints = 41

func curveOf(r *calibration.Record, k *curve.Curve) (out runCurve) {
	for i := range curvePoints {
		raw := r.Calibration.Raw.Low + r.Calibration.Raw.Span()*float64(i)/(curvePoints-1)
		if p := k.At(raw); !math.IsNaN(p) && !math.IsInf(p, 0) {
			out.Raw, out.MMHg = append(out.Raw, raw), append(out.MMHg, p)
		}
	}
	return out
}
