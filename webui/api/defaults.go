package api

import (
	"context"

	"github.com/danielgtaylor/huma/v2"

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

func (s *server) addDefaults(api huma.API) {
	huma.Register(api, operation("defaults", "What rules are set to where the configuration is silent, and where that is from"),
		func(context.Context, *struct{}) (*answer[defaultsBody], error) {
			a := &answer[defaultsBody]{Body: defaultsBody{Defaults: []defaultSetting{}}}
			for _, d := range rules.Defaults() {
				a.Body.Defaults = append(a.Body.Defaults, defaultSetting{d.Kind, string(d.Place), d.Key, d.Words(), d.Source})
			}
			return a, nil
		})
}
