package api

import (
	"context"
	"fmt"
	"math"
	"time"

	"github.com/danielgtaylor/huma/v2"

	calibration "weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/stream/record"
)

type spotCheck struct {
	At        time.Time `json:"at"`
	By        string    `json:"by"`
	Reference float64   `json:"reference_mmhg" doc:"What the gauge showed"`
	Raw       float64   `json:"raw" doc:"The channel's counts, the mean of some seconds"`
	MMHg      float64   `json:"mmhg" doc:"What the record makes of them"`
	Error     float64   `json:"error_mmhg"`
	Allowed   float64   `json:"allowed_mmhg" doc:"How large the error may be, either way: twice the standard uncertainties of both together"`
	Holds     bool      `json:"holds"`
	Text      string    `json:"text" doc:"What to make of it"`
}

type checksBody struct {
	Checks []spotCheck `json:"checks" nullable:"false" doc:"In the order in which they were made"`
}

type newCheck struct {
	Calibration string `path:"calibration" doc:"The record's id"`
	Body        struct {
		By         string   `json:"by,omitempty" maxLength:"64" doc:"Who checks, a code such as E-01; known by itself where there are accounts"`
		Reference  float64  `json:"reference_mmhg" minimum:"0" maximum:"300" doc:"What the gauge shows"`
		ReferenceU *float64 `json:"reference_u_mmhg,omitempty" minimum:"0" doc:"Its standard uncertainty; that of limits of 3 mmHg either way without it"`
		Raw        *float64 `json:"raw,omitempty" doc:"The channel's counts; what it shows in the next seconds without it"`
	}
}

func (s *server) addChecks(api huma.API) {
	huma.Register(api, operation("checks", "Spot checks of a calibration record", 404), s.listChecks)
	huma.Register(api, noted("check", "Tell whether a record still holds, at one known pressure that came by loading; it never changes it, and is on the disk when this is answered", 404, 409), s.check)
}

func (s *server) listChecks(ctx context.Context, in *calibrationInput) (*answer[checksBody], error) {
	found, err := s.index.pick(ctx, s, func(p picked) bool { return p.id == in.Calibration && !p.refused })
	switch {
	case err != nil:
		return nil, err
	case len(found) == 0:
		return nil, huma.Error404NotFound(fmt.Sprintf("there is no calibration %q", in.Calibration))
	}
	a := &answer[checksBody]{Body: checksBody{Checks: []spotCheck{}}}
	err = s.entriesAt(ctx, s.index.checksOf(in.Calibration), func(_ int, e *record.Entry) {
		if c, ok := e.Body.(record.Check); ok {
			a.Body.Checks = append(a.Body.Checks, spotOf(&c.Spot))
		}
	})
	return a, err
}

func (s *server) check(ctx context.Context, in *newCheck) (*answer[spotCheck], error) {
	r, _, err := s.calibration(ctx, in.Calibration)
	if err != nil {
		return nil, err
	}
	b := &in.Body
	if err := s.sign(ctx, "by", &b.By); err != nil {
		return nil, err
	}
	var raw float64
	if b.Raw != nil {
		raw = *b.Raw
	} else if raw, err = s.counts(ctx, r); err != nil {
		return nil, err
	}
	now, err := s.now(ctx)
	if err != nil {
		return nil, err
	}
	spot, err := r.Spot(now, b.By, b.Reference, fitWith(b.ReferenceU, 0).ReferenceU, raw)
	if err != nil {
		return nil, huma.Error422UnprocessableEntity(err.Error())
	}
	if _, err := s.note(ctx, record.Entry{At: sample.At(now), Author: b.By, Body: record.Check{Spot: spot}}); err != nil {
		return nil, err
	}
	return &answer[spotCheck]{spotOf(&spot)}, nil
}

// counts returns what the channel of a record shows now.
func (s *server) counts(ctx context.Context, r *calibration.Record) (float64, error) {
	i, err := s.channelsOf(r.Bridge, r.Source, []int{r.Channel})
	if err != nil {
		return 0, err
	}
	ctx, cancel := context.WithTimeout(ctx, restWithin)
	defer cancel()
	_, raw, err := s.Pipeline.Rest(ctx, i, []int{r.Channel})
	if err != nil {
		return 0, restError(err)
	}
	if math.IsNaN(raw[0]) {
		return 0, huma.Error409Conflict("the channel delivers nothing: see to it first")
	}
	return raw[0], nil
}

func spotOf(c *calibration.Spot) spotCheck {
	return spotCheck{c.At, c.By, c.Reference, c.Raw, c.MMHg, c.Error, c.Allowed, c.Holds, c.Text}
}
