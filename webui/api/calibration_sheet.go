package api

import (
	"bytes"
	"context"

	"github.com/danielgtaylor/huma/v2"

	"weald/stream/report/sheet"
)

// sheetPolicy lets a sheet have its own style and nothing else: it loads nothing,
// runs nothing and sends nothing.
const sheetPolicy = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

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
	if err := sheet.Write(&page, r, now); err != nil {
		return nil, err
	}
	return &huma.StreamResponse{Body: func(ctx huma.Context) {
		ctx.SetHeader("Content-Type", "text/html; charset=utf-8")
		ctx.SetHeader("Content-Security-Policy", sheetPolicy)
		// An error means that the client is gone.
		_, _ = ctx.BodyWriter().Write(page.Bytes())
	}}, nil
}
