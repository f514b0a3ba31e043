package api

import (
	"context"

	"github.com/danielgtaylor/huma/v2"

	"weald/config"
)

// A Piece is text for the configuration file, and what is wrong with it there.
type Piece struct {
	YAML    string  `json:"yaml" doc:"To be put into the configuration file; empty where there is nothing to put"`
	Faults  []Fault `json:"faults" nullable:"false" doc:"By the checks that the configuration goes through; without any, a file with the piece in it is accepted"`
	Caution string  `json:"caution"`
}

// A Fault is why a piece could not stand in the configuration as it is.
type Fault struct {
	Of     string `json:"of" enum:"piece,file" doc:"piece: of the text that is proposed; file: of the configuration in force, which does not fit it any more"`
	Line   int    `json:"line" doc:"From 1; 0 where there is no place"`
	Column int    `json:"column"`
	Text   string `json:"text"`
}

func (p *Piece) judged(found config.Proposed) {
	p.add("piece", found.Piece)
	p.add("file", found.File)
}

func (p *Piece) add(of string, found config.Problems) {
	for _, f := range found {
		p.Faults = append(p.Faults, Fault{of, f.Line, f.Column, f.Message})
	}
}

// A Draft is where pieces of the configuration are judged; see config.(*Config).
type Draft interface {
	WithRegions(place string, yaml []byte) (config.Proposed, error)
	WithPlaces(yaml []byte) config.Proposed
}

type pressedPlace struct {
	Body struct {
		ID    string        `json:"id" maxLength:"64"`
		Kind  string        `json:"kind" enum:"wrap,bed,seat"`
		Sites []pressedSite `json:"sites" maxItems:"200" nullable:"false"`
		Mat   *pressedMat   `json:"mat,omitempty"`
	}
}

type pressedSite struct {
	ID       string   `json:"id" maxLength:"64"`
	Channels []string `json:"channels" maxItems:"200" nullable:"false" doc:"Each as bridge/source/number"`
}

type pressedMat struct {
	Source   string      `json:"source" maxLength:"129" doc:"As bridge/source"`
	Rows     int         `json:"rows"`
	Columns  int         `json:"columns"`
	PitchMM  *[2]float64 `json:"pitch_mm,omitempty" doc:"From row to row and from column to column"`
	Head     string      `json:"head" enum:"first_row,last_row,first_column,last_column" doc:"The edge at the head, on a seat at the back"`
	SeenFrom string      `json:"seen_from" enum:"above,below"`
}

const placeCaution = "A proposal: nothing changes before it is in the configuration file. Press each sensor once more when it is in force: a place that has two sensors mixed up is worse than none."

func (s *server) addPieces(api huma.API) {
	op := operation("check-place", "The configuration text of a place with sensors at named sites, and what is wrong with it; changes nothing", 422)
	huma.Register(api, op, s.checkPlace)
}

func (s *server) checkPlace(_ context.Context, in *pressedPlace) (*answer[Piece], error) {
	if s.Draft == nil {
		return nil, huma.Error503ServiceUnavailable("there is no configuration that a place could go into")
	}
	place := config.NewPlace{ID: in.Body.ID, Kind: in.Body.Kind}
	for _, site := range in.Body.Sites {
		place.Sites = append(place.Sites, config.NewSite(site))
	}
	if m := in.Body.Mat; m != nil {
		place.Mat = &config.NewMat{Source: m.Source, Rows: m.Rows, Columns: m.Columns, PitchMM: m.PitchMM, Head: config.Edge(m.Head), FromBelow: m.SeenFrom == "below"}
	}
	p := Piece{YAML: place.Text(), Faults: []Fault{}, Caution: placeCaution}
	p.judged(s.Draft.WithPlaces([]byte(p.YAML)))
	return &answer[Piece]{p}, nil
}
