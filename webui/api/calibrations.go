package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/ingest/calib/figures"
	"weald/ingest/calib/fit"
	calibration "weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/stream/pipeline"
	"weald/stream/record"
)

type calibrated struct {
	ID           string    `json:"id" doc:"The hash of the record, in 32 hexadecimal digits"`
	Bridge       string    `json:"bridge"`
	Source       string    `json:"source"`
	Channel      int       `json:"channel"`
	At           time.Time `json:"at" doc:"When the readings were taken"`
	By           string    `json:"by" doc:"Who took them, by code"`
	Reference    string    `json:"reference" doc:"The gauge"`
	Model        string    `json:"model"`
	Branches     bool      `json:"branches" doc:"Loading and unloading apart"`
	Verdict      string    `json:"verdict" enum:"accepted,accepted with warnings"`
	Remarks      []string  `json:"remarks" nullable:"false"`
	HighestU     *float64  `json:"u_highest_mmhg" doc:"The largest combined standard uncertainty over the range"`
	ValidUntil   time.Time `json:"valid_until"`
	InForce      bool      `json:"in_force" doc:"No later record of this channel is kept"`
	PastItsDate  bool      `json:"past_its_date"`
	IsDue        bool      `json:"due_soon" doc:"It will soon be past its date: calibrate again"`
	RangeMMHg    []float64 `json:"range_mmhg" nullable:"false" minItems:"2" maxItems:"2" doc:"The pressures between which it was made: beyond, values are extrapolated"`
	LeftOutLevel *float64  `json:"leave_one_out_mmhg" doc:"Root mean square error at levels that the fit did not see"`
}

type refusedCalibration struct {
	ID        string    `json:"id" doc:"The hash of what is kept of it"`
	Bridge    string    `json:"bridge"`
	Source    string    `json:"source"`
	Channel   int       `json:"channel"`
	At        time.Time `json:"at" doc:"When the readings were taken"`
	By        string    `json:"by" doc:"Who took them, by code"`
	Reference string    `json:"reference" doc:"The gauge"`
	State     string    `json:"state" enum:"refused,rejected" doc:"The readings were no calibration, or the acceptance limits rejected what came of them"`
	Reasons   []string  `json:"reasons" nullable:"false" doc:"Why, and what to do"`
}

type calibrationsInput struct {
	Bridge  string `query:"bridge"`
	Source  string `query:"source"`
	Channel int    `query:"channel" default:"-1" minimum:"-1" doc:"-1 for all"`
	InForce bool   `query:"in_force" doc:"Only those that values rest on now"`
	Refused bool   `query:"refused" doc:"Only those that did not come into force"`
}

type calibrationsBody struct {
	Calibrations []calibrated         `json:"calibrations" nullable:"false" doc:"In the order in which they came into force"`
	Refused      []refusedCalibration `json:"refused" nullable:"false" doc:"What did not come into force, in the order in which it was kept"`
}

type calibrationInput struct {
	Calibration string `path:"calibration" doc:"The record's id"`
}

type calibrationBody struct {
	Calibration calibrated      `json:"calibration"`
	Account     *account        `json:"account"`
	Record      json.RawMessage `json:"record" doc:"All of it as it is kept: readings, candidates, curves, figures"`
}

type newRow struct {
	Reference float64 `json:"reference_mmhg" doc:"What the gauge showed"`
	Raw       float64 `json:"raw" doc:"The channel's counts"`
	Cycle     int     `json:"cycle,omitempty" minimum:"0" maximum:"1000" doc:"From 1"`
	Direction string  `json:"direction,omitempty" enum:"up,down" doc:"Of the pressure as it came there"`
}

type newCalibration struct {
	Body struct {
		Bridge      string    `json:"bridge" minLength:"1" maxLength:"64"`
		Source      string    `json:"source" minLength:"1" maxLength:"64"`
		Channel     int       `json:"channel" minimum:"0"`
		At          time.Time `json:"at,omitempty" doc:"When the readings were taken; now without it"`
		By          string    `json:"by,omitempty" maxLength:"64" doc:"Who took them, a code such as E-01; what looks like a name is refused; known by itself where there are accounts"`
		Reference   string    `json:"reference" minLength:"1" maxLength:"200" doc:"The gauge"`
		ReferenceU  *float64  `json:"reference_u_mmhg,omitempty" minimum:"0" doc:"Its standard uncertainty; that of limits of 3 mmHg either way without it"`
		Temperature *float64  `json:"temperature_c,omitempty"`
		Method      string    `json:"method,omitempty" maxLength:"1000" doc:"How the pressures were applied"`
		Rows        []newRow  `json:"rows" nullable:"false" minItems:"1" maxItems:"5000"`
		Rail        float64   `json:"rail,omitempty" minimum:"0" doc:"The highest count that the channel can read; 0 for not known"`
		Noise       float64   `json:"noise,omitempty" minimum:"0" doc:"Standard deviation of a single live reading, in counts"`
		Acceptance
	}
}

func (s *server) addCalibrations(api huma.API) {
	huma.Register(api, operation("calibrations", "Calibration records: what came into force for which channel, and when", 422), s.listCalibrations)
	huma.Register(api, operation("calibration", "One calibration record, whole", 404), s.oneCalibration)
	huma.Register(api, noted("calibrate", "Fit readings at known pressures and put the record into force; it is on the disk, and the next scan rests on it, when this is answered", 409), s.keepCalibration)
	page := operation("calibration-sheet", "A calibration as a page to print and sign", 404)
	page.Responses = map[string]*huma.Response{"200": {Description: "The page", Content: map[string]*huma.MediaType{
		"text/html": {Schema: &huma.Schema{Type: "string"}},
	}}}
	huma.Register(api, page, s.calibrationSheet)
}

// calibratedOf tells of a record.
func calibratedOf(r *calibration.Record, inForce bool, now time.Time) calibrated {
	c := &r.Calibration
	out := calibrated{
		ID: r.ID(), Bridge: r.Bridge, Source: r.Source, Channel: r.Channel, At: r.At, By: r.By, Reference: r.Reference.Name,
		Model: string(c.Loading.Model()), Branches: c.Unloading != nil, Verdict: string(r.Verdict), Remarks: append([]string{}, r.Remarks...),
		ValidUntil: r.ValidUntil, InForce: inForce, PastItsDate: r.Expired(now), IsDue: r.Due(now),
		RangeMMHg: []float64{c.MMHg.Low, c.MMHg.High},
	}
	if f := r.Figures.UHighest; f != nil {
		out.HighestU = &f.MMHg
	}
	for _, tried := range r.Candidates {
		if tried.Chosen {
			out.LeftOutLevel = tried.Error
		}
	}
	return out
}

func refusedOf(r *calibration.Refused) refusedCalibration {
	out := refusedCalibration{ID: r.ID(), Bridge: r.Bridge, Source: r.Source, Channel: r.Channel, At: r.At, By: r.By, Reference: r.Reference.Name, State: "refused", Reasons: r.Reasons}
	if r.Rejected != nil {
		out.State = string(calibration.Rejected)
	}
	return out
}

func (s *server) now(ctx context.Context) (now time.Time, err error) {
	err = s.ask(ctx, func(st *pipeline.State) { now = st.Now().Time() })
	return now, err
}

func (s *server) listCalibrations(ctx context.Context, in *calibrationsInput) (*answer[calibrationsBody], error) {
	now, err := s.now(ctx)
	if err != nil {
		return nil, err
	}
	found, err := s.index.pick(ctx, s, func(p picked) bool {
		return (in.Bridge == "" || p.of.bridge == in.Bridge) && (in.Source == "" || p.of.source == in.Source) &&
			(in.Channel < 0 || p.of.channel == in.Channel) && (p.inForce || !in.InForce) && (p.refused || !in.Refused)
	})
	if err != nil {
		return nil, err
	}
	at := make([]record.Position, len(found))
	for i := range found {
		at[i] = found[i].at
	}
	a := &answer[calibrationsBody]{Body: calibrationsBody{Calibrations: []calibrated{}, Refused: []refusedCalibration{}}}
	err = s.entriesAt(ctx, at, func(i int, e *record.Entry) {
		switch b := e.Body.(type) {
		case record.Calibration:
			a.Body.Calibrations = append(a.Body.Calibrations, calibratedOf(&b.Record, found[i].inForce, now))
		case record.Refused:
			a.Body.Refused = append(a.Body.Refused, refusedOf(&b.Refused))
		}
	})
	return a, err
}

// calibration finds a record by its id.
func (s *server) calibration(ctx context.Context, id string) (r *calibration.Record, told *calibrated, err error) {
	now, err := s.now(ctx)
	if err != nil {
		return nil, nil, err
	}
	found, err := s.index.pick(ctx, s, func(p picked) bool { return p.id == id && !p.refused })
	if err != nil {
		return nil, nil, err
	}
	if len(found) > 0 { // the same record may have been put into force again
		last := found[len(found)-1]
		err = s.entriesAt(ctx, []record.Position{last.at}, func(_ int, e *record.Entry) {
			if b, ok := e.Body.(record.Calibration); ok {
				one := calibratedOf(&b.Record, last.inForce, now)
				r, told = &b.Record, &one
			}
		})
	}
	if err == nil && r == nil {
		err = huma.Error404NotFound(fmt.Sprintf("there is no calibration %q", id))
	}
	return r, told, err
}

func (s *server) oneCalibration(ctx context.Context, in *calibrationInput) (*answer[calibrationBody], error) {
	r, told, err := s.calibration(ctx, in.Calibration)
	if err != nil {
		return nil, err
	}
	return calibrationAnswer(r, *told)
}

func calibrationAnswer(r *calibration.Record, told calibrated) (*answer[calibrationBody], error) {
	b, err := json.Marshal(r)
	if err != nil {
		return nil, err
	}
	return &answer[calibrationBody]{calibrationBody{told, accountOf(r), b}}, nil
}

func (s *server) keepCalibration(ctx context.Context, in *newCalibration) (*answer[calibrationBody], error) {
	if err := s.recording(); err != nil {
		return nil, err
	}
	b := &in.Body
	if err := s.sign(ctx, "by", &b.By); err != nil {
		return nil, err
	}
	now, err := s.now(ctx)
	if err != nil {
		return nil, err
	}
	at := now
	if !b.At.IsZero() {
		if at = b.At; at.After(now.Add(aheadAtMost)) {
			return nil, huma.Error422UnprocessableEntity("at: it has not come yet; here it is " + now.Format(time.RFC3339))
		}
	}
	o := fitWith(b.ReferenceU, b.Rail)
	o.Noise = b.Noise
	if err := b.Acceptance.into(&o); err != nil {
		return nil, err
	}
	rows := make([]figures.Row, len(b.Rows))
	for i, r := range b.Rows {
		rows[i] = figures.Row{Cycle: r.Cycle, Direction: figures.Direction(r.Direction), Reference: r.Reference, Raw: r.Raw}
	}
	result, err := fit.Fit(rows, o)
	of := fit.Circumstances{
		Bridge: b.Bridge, Source: b.Source, Channel: b.Channel, At: at, By: b.By, Reference: b.Reference, Temperature: b.Temperature, Method: b.Method,
	}
	if why, ok := errors.AsType[fit.Refused](err); ok {
		return nil, s.refuse(ctx, why.Record(rows, of, o), refusalError(why))
	} else if err != nil {
		return nil, huma.Error422UnprocessableEntity("rows: " + err.Error())
	}
	r := result.Record(rows, of, o)
	if r.Verdict == calibration.Rejected {
		return nil, s.refuse(ctx, calibration.Reject(r), huma.Error422UnprocessableEntity("rejected: "+strings.Join(result.Remarks, "; ")))
	}
	if _, err := s.putIntoForce(ctx, r); err != nil {
		return nil, err
	}
	return calibrationAnswer(r, calibratedOf(r, true, now))
}

// fitWith are the usual options with what was said about gauge and channel.
func fitWith(referenceU *float64, rail float64) fit.Options {
	o := fit.Defaults()
	o.Rail = rail
	if referenceU != nil {
		o.ReferenceU = *referenceU
	}
	return o
}

// Acceptance is by what a calibration is judged, where somebody says so.
type Acceptance struct {
	Warn   *float64 `json:"warn_percent_fs,omitempty" doc:"Acceptance limit of what repeats, in % of full scale: above it there is a warning; 5 without it"`
	Reject *float64 `json:"reject_percent_fs,omitempty" doc:"Above it the channel is rejected; 15 without it"`
}

// into puts the limits into o, if they can be any.
func (a *Acceptance) into(o *fit.Options) error {
	if a.Warn != nil {
		o.Warn = *a.Warn
	}
	if a.Reject != nil {
		o.Reject = *a.Reject
	}
	if err := o.Limits().Check(); err != nil {
		return huma.Error422UnprocessableEntity(err.Error())
	}
	return nil
}

// putIntoForce keeps r and rests values on it, and reports whether they do.
func (s *server) putIntoForce(ctx context.Context, r *calibration.Record) (inForce bool, err error) {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	switch err := s.Pipeline.Calibrate(ctx, r); {
	case err == nil:
		return true, nil
	case errors.Is(err, pipeline.ErrNotKept), errors.Is(err, pipeline.ErrWaits), errors.Is(err, context.DeadlineExceeded):
		return errors.Is(err, pipeline.ErrWaits), deedError(err)
	default:
		return false, huma.Error409Conflict(err.Error())
	}
}

// refuse keeps what did not come into force, and returns why it did not. What is of no
// channel is not kept.
func (s *server) refuse(ctx context.Context, r *calibration.Refused, why error) error {
	if _, err := s.channelsOf(r.Bridge, r.Source, []int{r.Channel}); err != nil {
		return why
	}
	if _, err := s.note(ctx, record.Entry{At: sample.At(r.At), Author: r.By, Body: record.Refused{Refused: *r}}); err != nil {
		return err
	}
	return why
}

// refusalError says every reason, and what to do about each.
func refusalError(refused fit.Refused) error {
	details := make([]error, len(refused))
	for i, r := range refused {
		details[i] = &huma.ErrorDetail{Location: "body.rows", Message: r.Error()}
	}
	return huma.NewError(http.StatusUnprocessableEntity, "the readings cannot be a calibration: "+refused[0].Error(), details...)
}
