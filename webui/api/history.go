package api

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/ingest/sample"
	"weald/stream/history"
	"weald/stream/pipeline"
	"weald/stream/view"
)

type signalsInput struct {
	Place  string    `path:"place" doc:"The place's id in the configuration"`
	Names  []string  `query:"name,explode" doc:"Which signals; all without it. May be repeated, or hold names with commas between them"`
	From   time.Time `query:"from" doc:"An hour before its end without it; a year before it at most"`
	To     time.Time `query:"to" doc:"The place's present without it"`
	Points int       `query:"points" default:"600" minimum:"1" maximum:"5000" doc:"How many points are of use, such as pixels across"`
}

type signalsBody struct {
	From   time.Time    `json:"from"`
	To     time.Time    `json:"to"`
	StepS  float64      `json:"step_s" doc:"From one point to the next; below 1 the points are the readings themselves"`
	Series []seriesBody `json:"series" nullable:"false"`
}

type seriesBody struct {
	Name string  `json:"name"`
	Unit string  `json:"unit"`
	T    moments `json:"t" nullable:"false" doc:"When each point begins"`
	Min  values  `json:"min" nullable:"false" doc:"null where nothing was known"`
	Mean values  `json:"mean" nullable:"false" doc:"Weighted with time"`
	Max  values  `json:"max" nullable:"false"`
}

func (s *server) addHistory(api huma.API) {
	huma.Register(api, operation("signals", "What signals did, at a resolution that fits", 404, 422), s.signals)
	huma.Register(api, operation("map", "A mat's cells, now or in the last hour", 404, 422), s.cells)
}

func (s *server) signals(ctx context.Context, in *signalsInput) (*answer[signalsBody], error) {
	i, err := s.place(in.Place)
	if err != nil {
		return nil, err
	}
	q := history.Query{Place: i, Points: in.Points}
	for _, name := range in.Names {
		q.Names = append(q.Names, strings.Split(name, ",")...)
	}
	if q.To, err = s.instant(ctx, i, in.To); err != nil {
		return nil, err
	}
	if q.From = q.To.Add(-history.Span); !in.From.IsZero() {
		if q.From, err = instantOf(in.From); err != nil {
			return nil, err
		}
	}
	found, err := s.Past(ctx, q)
	switch {
	case errors.Is(err, history.ErrNoSeries):
		return nil, huma.Error404NotFound("place " + in.Place + ": " + err.Error())
	case err != nil && !errors.Is(err, history.ErrBackward) && !errors.Is(err, history.ErrTooLong):
		return nil, huma.Error503ServiceUnavailable("the record cannot be read: " + err.Error())
	case err != nil:
		return nil, huma.Error422UnprocessableEntity(err.Error())
	}
	a := &answer[signalsBody]{Body: signalsBody{
		From: found.From.Time(), To: found.To.Time(), StepS: found.Step.Seconds(),
		Series: make([]seriesBody, len(found.Series)),
	}}
	for k, l := range found.Series {
		a.Body.Series[k] = seriesBody{Name: l.Name, Unit: l.Unit, T: l.T, Min: l.Min, Mean: l.Mean, Max: l.Max}
	}
	return a, nil
}

// instant is t, or a place's present if t was not given.
func (s *server) instant(ctx context.Context, place int, t time.Time) (sample.Instant, error) {
	if !t.IsZero() {
		return instantOf(t)
	}
	var now sample.Instant
	err := s.ask(ctx, func(st *pipeline.State) { now = st.PlaceNow(place) })
	return now, err
}

// The years whose every instant fits a sample.Instant.
const firstYear, lastYear = 1678, 2261

// instantOf refuses what an Instant cannot hold.
func instantOf(t time.Time) (sample.Instant, error) {
	if year := t.UTC().Year(); year < firstYear || year > lastYear {
		return 0, huma.Error422UnprocessableEntity(fmt.Sprintf("times are within the years %d to %d", firstYear, lastYear))
	}
	return sample.At(t), nil
}

type mapInput struct {
	Place string    `path:"place" doc:"The place's id in the configuration"`
	At    time.Time `query:"at" doc:"When; now without it. Older maps are kept half a minute apart, in steps of 0.1 mmHg; there is none of a time at which the mat was silent"`
}

type mapBody struct {
	At      *time.Time `json:"at" doc:"When the cells were measured; null before the first scan"`
	Rows    int        `json:"rows"`
	Columns int        `json:"columns"`
	Unit    string     `json:"unit"`
	Cells   []*float64 `json:"cells" nullable:"false" doc:"Row by row; null is unknown"`
	LoadedS []*float64 `json:"loaded_s" nullable:"false" doc:"For how long each cell has been loaded since its last relief; empty for older maps"`
}

func (s *server) cells(ctx context.Context, in *mapInput) (*answer[mapBody], error) {
	i, mat, err := s.matOf(in.Place)
	if err != nil {
		return nil, err
	}
	m, known, err := s.mapAt(ctx, i, in.At)
	if err != nil {
		return nil, err
	}
	a := &answer[mapBody]{Body: mapBody{
		At: view.Moment(m.At), Rows: mat.Rows, Columns: mat.Columns, Unit: "mmHg",
		Cells:   make([]*float64, mat.Rows*mat.Columns),
		LoadedS: make([]*float64, len(m.Loaded)),
	}}
	if known {
		for k, v := range m.Cells {
			a.Body.Cells[k] = view.Measured(float64(v))
		}
	}
	for k, v := range m.Loaded {
		if v != history.NoTime {
			a.Body.LoadedS[k] = view.Number(float64(v))
		}
	}
	return a, nil
}

// mapAt returns the map of a place that stands now, with a zero t, or that stood
// at t, and whether its values are known.
func (s *server) mapAt(ctx context.Context, place int, t time.Time) (m history.Map, known bool, err error) {
	s.Store.Map(place, &m)
	if t.IsZero() {
		err := s.ask(ctx, func(st *pipeline.State) { known = st.Lasts(place, m.Until) })
		return m, known, err
	}
	at, err := instantOf(t)
	if err != nil {
		return m, false, err
	}
	// A map without an end is that of a mat which has just fallen silent.
	if at < m.At || at > m.Until || m.Until == sample.Never {
		err = s.Store.MapAt(place, at, &m)
	}
	if err != nil {
		return m, false, huma.Error404NotFound("place " + s.Plan.Places[place].ID + ": " + err.Error())
	}
	return m, true, nil
}
