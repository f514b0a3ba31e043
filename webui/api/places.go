package api

import (
	"context"

	"github.com/danielgtaylor/huma/v2"

	"weald/stream/pipeline"
	"weald/stream/view"
)

type placesBody struct {
	Places []view.Place `json:"places" nullable:"false"`
}

type placeInput struct {
	Place string `path:"place" doc:"The place's id in the configuration"`
}

func (s *server) addPlaces(api huma.API) {
	huma.Register(api, operation("places", "All places with their present state"),
		func(ctx context.Context, _ *struct{}) (*answer[placesBody], error) {
			var a answer[placesBody]
			a.Body.Places = make([]view.Place, len(s.Plan.Places))
			for i := range a.Body.Places {
				if err := s.ask(ctx, func(st *pipeline.State) { a.Body.Places[i] = st.Place(i) }); err != nil {
					return nil, err
				}
			}
			return &a, nil
		})
	huma.Register(api, operation("place", "One place with its present state", 404),
		func(ctx context.Context, in *placeInput) (*answer[view.Place], error) {
			i, err := s.place(in.Place)
			if err != nil {
				return nil, err
			}
			var a answer[view.Place]
			err = s.ask(ctx, func(st *pipeline.State) { a.Body = st.Place(i) })
			return &a, err
		})
}

// An answer is a response with a body.
type answer[B any] struct{ Body B }
