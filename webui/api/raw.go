package api

import (
	"context"
	"fmt"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/stream/view"
)

type rawInput struct {
	Bridge string `path:"bridge" doc:"The bridge's id in the configuration"`
	Source string `path:"source" doc:"The source's id behind it"`
}

type rawBody struct {
	At       *time.Time `json:"at" doc:"When they were sampled; null where there are none yet: readings are kept only while somebody asks for them, so the first answer has none"`
	Channels []*float64 `json:"channels" nullable:"false" doc:"One a channel; null is no reading"`
}

// raw answers with the newest readings of a source. Asked for a few times a
// second, it lets somebody press a cell and see which one it is.
func (s *server) raw(_ context.Context, in *rawInput) (*answer[rawBody], error) {
	id := in.Bridge + "/" + in.Source
	i := s.source(id)
	if i < 0 {
		return nil, huma.Error404NotFound(fmt.Sprintf("there is no source %q", id))
	}
	values, at := s.Pipeline.Raw(i, nil)
	a := &answer[rawBody]{Body: rawBody{At: view.Moment(at), Channels: make([]*float64, len(values))}}
	for k, v := range values {
		a.Body.Channels[k] = view.Number(v)
	}
	return a, nil
}
