package api

import (
	"context"

	"github.com/danielgtaylor/huma/v2"

	"weald/rules/compression"
	"weald/stream/view"
)

type compressionBody struct {
	Schemes      []scheme `json:"schemes" nullable:"false"`
	OverEstimate string   `json:"over_estimate" doc:"How far the prediction by Laplace's law can be believed"`
}

type scheme struct {
	ID      string  `json:"id"`
	Name    string  `json:"name" doc:"Of the standard"`
	Where   string  `json:"where" doc:"Its pressures are measured"`
	Source  string  `json:"source"`
	Above   string  `json:"above" doc:"Source of what is asked above the ankle; empty where nothing is"`
	Classes []class `json:"classes" nullable:"false" doc:"The lightest first"`
}

type class struct {
	ID    string   `json:"id"`
	Name  string   `json:"name"`
	Low   *float64 `json:"low" doc:"mmHg; null where the class is open"`
	High  *float64 `json:"high"`
	Least *float64 `json:"least" doc:"Share of the ankle's pressure asked above it, to the knee; null asks nothing"`
	Most  *float64 `json:"most"`
}

type predictionInput struct {
	Newtons float64   `query:"newtons" minimum:"0" maximum:"500" doc:"The pull on the whole width of the bandage, N"`
	Layers  float64   `query:"layers" minimum:"0" maximum:"20" doc:"That lie over each other"`
	WidthCM float64   `query:"width_cm" minimum:"0" maximum:"50"`
	Girths  []float64 `query:"girth_cm,explode" maxItems:"100" minimum:"0" maximum:"200" doc:"One for each site. May be repeated"`
}

type predictionBody struct {
	Predictions  []prediction `json:"predictions" nullable:"false" doc:"In the order of the girths"`
	OverEstimate string       `json:"over_estimate"`
}

type prediction struct {
	GirthCM float64  `json:"girth_cm"`
	Laplace *float64 `json:"laplace" doc:"mmHg; null where something is not known"`
	Least   *float64 `json:"laplace_least" doc:"mmHg that are still in keeping with it, as sensors have read"`
}

func (s *server) addCompression(api huma.API) {
	huma.Register(api, operation("compression", "Classes of compression, each with its standard; none is a recommendation"), schemes)
	huma.Register(api, operation("prediction", "The pressure that tension, layers, width and girth predict", 422), predict)
}

func schemes(context.Context, *struct{}) (*answer[compressionBody], error) {
	a := &answer[compressionBody]{Body: compressionBody{Schemes: []scheme{}, OverEstimate: compression.OverEstimate}}
	for _, s := range compression.Schemes() {
		one := scheme{ID: s.ID, Name: s.Name, Where: s.Where, Source: s.Source, Above: s.Above, Classes: []class{}}
		for _, c := range s.Classes {
			one.Classes = append(one.Classes, class{c.ID, c.Name, positive(c.Low), view.Number(c.High), positive(c.Least), positive(c.Most)})
		}
		a.Body.Schemes = append(a.Body.Schemes, one)
	}
	return a, nil
}

func predict(_ context.Context, in *predictionInput) (*answer[predictionBody], error) {
	a := &answer[predictionBody]{Body: predictionBody{Predictions: []prediction{}, OverEstimate: compression.OverEstimate}}
	w := compression.Wrapping{Newtons: in.Newtons, Layers: in.Layers, WidthCM: in.WidthCM}
	for _, girth := range in.Girths {
		p := w.Pressure(girth)
		a.Body.Predictions = append(a.Body.Predictions, prediction{girth, view.Measured(p), view.Measured(p * compression.LeastShare)})
	}
	return a, nil
}
