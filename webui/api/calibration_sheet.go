package api

import (
	"bytes"
	"context"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"weald/stream/report/sheet"
)

func (s *server) calibrationSheet(ctx context.Context, in *calibrationInput) (*huma.StreamResponse, error) {
	r, _, err := s.calibration(ctx, in.Calibration)
	if err != nil {
		return nil, err
	}
	now, err := s.now(ctx)
	if err != nil {
		return nil, err
	}
	var page bytes.Buffer
	if err := sheet.Write(&page, r, now, "weald "+s.Version); err != nil {
		return nil, err
	}
	return &huma.StreamResponse{Body: func(ctx huma.Context) {
		_, w := humago.Unwrap(ctx)
		printable(w.Header())
		// An error means that the client is gone.
		_, _ = w.Write(page.Bytes())
	}}, nil
}
