package api

import (
	"context"

	"github.com/danielgtaylor/huma/v2"

	"weald/config/figures"
	"weald/rules"
)

type defaultsBody struct {
	Defaults []defaultSetting `json:"defaults" nullable:"false" doc:"None is a recommendation: local policy decides"`
}

type defaultSetting struct {
	Kind   string `json:"kind" doc:"Of rule"`
	Place  string `json:"place" enum:"wrap,bed,seat," doc:"Kind of place; empty for every kind"`
	Key    string `json:"key" doc:"As the configuration writes it"`
	Value  string `json:"value" doc:"With its unit where it has one"`
	Source string `json:"source" doc:"Where it is from"`
}

type sourcesBody struct {
	Figures []sourced `json:"figures" nullable:"false" doc:"None is a recommendation: local policy decides"`
}

type sourced struct {
	Part   string       `json:"part" doc:"What stands together"`
	Name   string       `json:"name" doc:"A path in the configuration, a constant of the program, or a part of the handbook"`
	Value  string       `json:"value" doc:"With its unit where it has one"`
	For    string       `json:"for" doc:"What it is for"`
	Mark   figures.Mark `json:"mark" enum:"standard,published,from memory,measured here,arithmetic,common practice,ours" doc:"How far the source is to be believed"`
	Source string       `json:"source" doc:"Where it is from, with the mark"`
}

func (s *server) addDefaults(api huma.API) {
	huma.Register(api, operation("defaults", "What rules are set to where the configuration is silent, and where that is from"),
		func(context.Context, *struct{}) (*answer[defaultsBody], error) {
			a := &answer[defaultsBody]{Body: defaultsBody{Defaults: []defaultSetting{}}}
			for _, d := range rules.Defaults() {
				a.Body.Defaults = append(a.Body.Defaults, defaultSetting{d.Kind, string(d.Place), d.Key, d.Words(), figures.OfRule(d.Kind, d.Key).From()})
			}
			return a, nil
		})
	huma.Register(api, operation("figures", "Every number, default and model that the program rests on, and where it is from"),
		func(context.Context, *struct{}) (*answer[sourcesBody], error) {
			a := &answer[sourcesBody]{Body: sourcesBody{Figures: []sourced{}}}
			for _, f := range figures.All() {
				a.Body.Figures = append(a.Body.Figures, sourced{f.Part, f.Name, f.Value, f.For, f.Mark, f.From()})
			}
			return a, nil
		})
}
