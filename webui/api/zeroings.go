package api

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	calibration "weald/ingest/calib/record"
	"weald/stream/journal"
	"weald/stream/pipeline"
	"weald/stream/record"
)

const mostZeroings = 500 // are listed

// restWithin is for how long scans are waited for that tell what channels show.
const restWithin = 8 * time.Second

type zeroed struct {
	Bridge   string    `json:"bridge"`
	Source   string    `json:"source"`
	Channels []int     `json:"channels" nullable:"false"`
	Shown    []float64 `json:"shown_mmhg" nullable:"false" doc:"By channel: what it shows at rest and what is taken off from then on; empty where a zeroing was taken back"`
	Undo     bool      `json:"undo" doc:"The last zeroing of each channel was taken back"`
	At       time.Time `json:"at"`
	By       string    `json:"by"`
}

type takenOff struct {
	Bridge  string  `json:"bridge"`
	Source  string  `json:"source"`
	Channel int     `json:"channel"`
	MMHg    float64 `json:"mmhg" doc:"What is taken off its pressures now"`
}

type zeroingsBody struct {
	Zeroings []zeroed   `json:"zeroings" nullable:"false" maxItems:"500" doc:"The newest come last"`
	InForce  []takenOff `json:"in_force" nullable:"false"`
}

type newZeroing struct {
	Body struct {
		Bridge   string `json:"bridge" minLength:"1" maxLength:"64"`
		Source   string `json:"source" minLength:"1" maxLength:"64"`
		Channels []int  `json:"channels" nullable:"false" minItems:"1" maxItems:"4096" doc:"Those on which nothing rests"`
		By       string `json:"by,omitempty" maxLength:"64" doc:"Who zeroes, a code such as E-01; known by itself where there are accounts"`
		Undo     bool   `json:"undo,omitempty" doc:"Take back the last zeroing of each channel instead"`
	}
}

func (s *server) addZeroings(api huma.API) {
	huma.Register(api, operation("zeroings", "What is taken off the pressures of channels, and who said so"), s.listZeroings)
	huma.Register(api, noted("zero", "Take off what channels at rest show, 5 mmHg at most, or take that back; it is on the disk, and the next scan is converted so, when this is answered", 404, 409), s.zero)
}

func (s *server) listZeroings(ctx context.Context, _ *struct{}) (*answer[zeroingsBody], error) {
	if err := s.recording(); err != nil {
		return nil, err
	}
	a := &answer[zeroingsBody]{Body: zeroingsBody{Zeroings: []zeroed{}, InForce: []takenOff{}}}
	q := journal.Query{Kinds: []record.Kind{record.KindZeroing}, Newest: true}
	err := s.entries(ctx, q, func(e *record.Entry) bool {
		z := e.Body.(record.Zeroing)
		a.Body.Zeroings = append(a.Body.Zeroings, zeroedOf(&z.Zeroing))
		return len(a.Body.Zeroings) < mostZeroings
	})
	slices.Reverse(a.Body.Zeroings)
	if err != nil {
		return nil, err
	}
	off, err := s.Pipeline.TakenOff(ctx)
	if err != nil {
		return nil, huma.Error503ServiceUnavailable(err.Error())
	}
	for _, o := range off {
		bridge, source, _ := strings.Cut(s.Plan.Sources[o.Source].ID, "/")
		a.Body.InForce = append(a.Body.InForce, takenOff{bridge, source, o.Channel, o.MMHg})
	}
	return a, nil
}

func zeroedOf(z *calibration.Zeroing) zeroed {
	return zeroed{z.Bridge, z.Source, z.Channels, append([]float64{}, z.Shown...), z.Undo, z.At, z.By}
}

func (s *server) zero(ctx context.Context, in *newZeroing) (*answer[zeroed], error) {
	if err := s.recording(); err != nil {
		return nil, err
	}
	b := &in.Body
	if err := s.sign(ctx, "by", &b.By); err != nil {
		return nil, err
	}
	i, err := s.channelsOf(b.Bridge, b.Source, b.Channels)
	if err != nil {
		return nil, err
	}
	z := &calibration.Zeroing{Bridge: b.Bridge, Source: b.Source, By: b.By, Channels: b.Channels, Undo: b.Undo}
	ctx, cancel := context.WithTimeout(ctx, restWithin)
	defer cancel()
	if err := s.Pipeline.Zero(ctx, i, z); err != nil {
		return nil, restError(err)
	}
	return &answer[zeroed]{zeroedOf(z)}, nil
}

// channelsOf finds a source that has the channels.
func (s *server) channelsOf(bridge, source string, channels []int) (int, error) {
	i := s.source(bridge + "/" + source)
	if i < 0 {
		return 0, huma.Error404NotFound("there is no source " + bridge + "/" + source)
	}
	for _, c := range channels {
		if c < 0 || c >= s.Plan.Sources[i].Channels {
			return 0, huma.Error404NotFound("channels: " + bridge + "/" + source + " does not have all of them")
		}
	}
	return i, nil
}

// restError says why what channels show at rest, or under a pressure, was no use.
func restError(err error) error {
	switch {
	case errors.Is(err, context.DeadlineExceeded):
		return huma.Error409Conflict("the source sent too little in " + restWithin.String() + ": see to its connection")
	case errors.Is(err, pipeline.ErrNotKept), errors.Is(err, pipeline.ErrWaits), errors.Is(err, pipeline.ErrStopped):
		return deedError(err)
	}
	return huma.Error409Conflict(err.Error())
}
