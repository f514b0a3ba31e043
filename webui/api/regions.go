package api

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/config"
	"weald/rules"
	"weald/rules/outline"
	"weald/stream/view"
)

const regionsCaution = "A proposal: nothing changes before it is in the configuration file. Regions are fixed cells; who lies or sits elsewhere lies outside of them. Look at the map, and at the skin: local policy and the responsible clinician decide."

type foundRegion struct {
	view.Region
	Cells int    `json:"cells"`
	Why   string `json:"why" doc:"What spoke for it"`
}

type missingRegion struct {
	ID  string `json:"id"`
	Why string `json:"why"`
}

type foundRegions struct {
	At      *time.Time      `json:"at" doc:"When the cells were measured that this was found from; null before the first scan"`
	Found   []foundRegion   `json:"found" nullable:"false"`
	Missing []missingRegion `json:"missing" nullable:"false" doc:"What was looked for and not found"`
	Piece
}

type drawnRegions struct {
	Place string `path:"place" doc:"The place's id in the configuration"`
	Body  struct {
		Regions []view.Region `json:"regions" maxItems:"200" nullable:"false"`
	}
}

func (s *server) addRegions(api huma.API) {
	huma.Register(api, operation("regions", "Regions of a body found from the map of its mat, as a proposal for the configuration", 404, 422), s.findRegions)
	op := operation("check-regions", "The configuration text of drawn regions, and what is wrong with it; changes nothing", 404, 422)
	huma.Register(api, op, s.checkRegions)
}

func (s *server) findRegions(ctx context.Context, in *mapInput) (*answer[foundRegions], error) {
	i, mat, err := s.matOf(in.Place)
	if err != nil {
		return nil, err
	}
	m, known, err := s.mapAt(ctx, i, in.At)
	if err != nil {
		return nil, err
	}
	if !known {
		return nil, huma.Error422UnprocessableEntity("place " + in.Place + ": the mat sends nothing, so there is no body to be found")
	}
	values := make([]float64, len(m.Cells))
	for k, v := range m.Cells {
		values[k] = float64(v)
	}
	var found outline.Answer
	switch lies := mat.Lies(); s.Plan.Places[i].Kind {
	case rules.Bed:
		found = outline.Bed(&lies, values)
	case rules.Seat:
		found = outline.Seat(&lies, values)
	default:
		return nil, huma.Error422UnprocessableEntity("place " + in.Place + " is no bed and no seat, where bodies are looked for")
	}
	a := &answer[foundRegions]{Body: foundRegions{At: view.Moment(m.At), Found: []foundRegion{}, Missing: []missingRegion{}}}
	var list []view.Region
	var notes []string
	for _, r := range found.Found {
		region := view.Region{ID: r.ID, Rows: r.Rows, Columns: r.Columns}
		list, notes = append(list, region), append(notes, r.Why)
		a.Body.Found = append(a.Body.Found, foundRegion{region, (r.Rows[1] - r.Rows[0] + 1) * (r.Columns[1] - r.Columns[0] + 1), r.Why})
	}
	for _, r := range found.Missing {
		a.Body.Missing = append(a.Body.Missing, missingRegion(r))
	}
	a.Body.Piece, err = s.piece(in.Place, list, notes)
	return a, err
}

func (s *server) checkRegions(_ context.Context, in *drawnRegions) (*answer[Piece], error) {
	if _, _, err := s.matOf(in.Place); err != nil {
		return nil, err
	}
	for i := range in.Body.Regions {
		in.Body.Regions[i].ID = strings.TrimSpace(in.Body.Regions[i].ID)
	}
	piece, err := s.piece(in.Place, in.Body.Regions, nil)
	return &answer[Piece]{piece}, err
}

// matOf finds a place with a mat.
func (s *server) matOf(place string) (int, *rules.Mat, error) {
	i, err := s.place(place)
	if err == nil && s.Plan.Places[i].Mat == nil {
		err = huma.Error404NotFound("place " + place + " has no mat")
	}
	if err != nil {
		return 0, nil, err
	}
	return i, s.Plan.Places[i].Mat, nil
}

// piece writes regions as the configuration has them, and judges them.
func (s *server) piece(place string, list []view.Region, notes []string) (Piece, error) {
	p := Piece{Faults: []Fault{}, Caution: regionsCaution}
	if len(list) == 0 {
		return p, nil
	}
	if s.Draft == nil {
		return p, huma.Error503ServiceUnavailable("there is no configuration that regions could go into")
	}
	regions := make([]config.Region, len(list))
	for i, r := range list {
		regions[i] = config.Region(r)
	}
	p.YAML = config.RegionsText(regions, notes)
	judged, err := s.Draft.WithRegions(place, []byte(p.YAML))
	if err != nil {
		return p, huma.Error422UnprocessableEntity(fmt.Sprintf("regions: %v", err))
	}
	p.judged(judged)
	return p, nil
}
