package api

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"weald/ingest/sample"
	"weald/stream/report"
	"weald/stream/report/paper"
)

type nightInput struct {
	Place string    `path:"place" doc:"The bed's id in the configuration"`
	From  time.Time `query:"from" doc:"Together with to; the last night, 20:00 to 8:00, without both"`
	To    time.Time `query:"to"`
}

type trialInput struct {
	Person string    `query:"person" doc:"Only this participant, by code"`
	Place  string    `query:"place" doc:"Only this place"`
	From   time.Time `query:"from" doc:"The beginning of the record without it"`
	To     time.Time `query:"to" doc:"The end of the record without it"`
}

func (s *server) addReports(api huma.API) {
	page := func(id, summary string) huma.Operation {
		o := operation(id, summary+", as a page to print; the command report makes the same", 404, 422)
		o.Responses = map[string]*huma.Response{"200": {Description: "The page", Content: map[string]*huma.MediaType{
			"text/html": {Schema: &huma.Schema{Type: "string"}},
		}}}
		return o
	}
	huma.Register(api, page("report-session", "What happened in a session"), func(_ context.Context, in *sessionInput) (*huma.StreamResponse, error) {
		return s.report(func(ctx context.Context) (*paper.Document, error) { return s.Reports.Session(ctx, in.Session) })
	})
	huma.Register(api, page("report-attempt", "What came of a try at putting on a wrap"), func(_ context.Context, in *attemptInput) (*huma.StreamResponse, error) {
		return s.report(func(ctx context.Context) (*paper.Document, error) { return s.Reports.Attempt(ctx, in.Attempt) })
	})
	huma.Register(api, page("report-night", "How somebody lay through a night"), func(_ context.Context, in *nightInput) (*huma.StreamResponse, error) {
		if in.From.IsZero() != in.To.IsZero() {
			return nil, huma.Error422UnprocessableEntity("from, to: give both or neither")
		}
		from, to, err := bounded(in.From, in.To)
		if err != nil {
			return nil, err
		}
		return s.report(func(ctx context.Context) (*paper.Document, error) { return s.Reports.Night(ctx, in.Place, from, to) })
	})
	huma.Register(api, page("report-trial", "How long participants sat and how they took the load off, by code and day"), func(_ context.Context, in *trialInput) (*huma.StreamResponse, error) {
		t := report.Trial{Person: in.Person, Place: in.Place}
		var err error
		if t.From, t.To, err = bounded(in.From, in.To); err != nil {
			return nil, err
		}
		return s.report(func(ctx context.Context) (*paper.Document, error) { return s.Reports.Trial(ctx, t, func(float64) {}) })
	})
}

// bounded makes bounds, Past and Never where there are none.
func bounded(from, to time.Time) (a, b sample.Instant, err error) {
	a, b = sample.Past, sample.Never
	if !from.IsZero() {
		if a, err = instantOf(from); err != nil {
			return 0, 0, err
		}
	}
	if !to.IsZero() {
		b, err = instantOf(to)
	}
	return a, b, err
}

// report answers with a page. One is made at a time, for the record is there for the
// rules first; who goes away while it is made, or waits, stops it.
func (s *server) report(made func(context.Context) (*paper.Document, error)) (*huma.StreamResponse, error) {
	if s.Reports == nil {
		return nil, huma.Error503ServiceUnavailable("nothing can be reported: the configuration names no folder for the record; give it data: and a folder")
	}
	return &huma.StreamResponse{Body: func(ctx huma.Context) {
		r, w := humago.Unwrap(ctx)
		// Where there is no deadline to lift there is none.
		_ = http.NewResponseController(w).SetWriteDeadline(time.Time{})
		select {
		case s.printing <- struct{}{}:
			defer func() { <-s.printing }()
		case <-r.Context().Done():
			return
		}
		var page bytes.Buffer
		d, err := made(r.Context())
		if err == nil {
			err = d.Write(&page)
		}
		switch {
		case err == nil:
			printable(w.Header())
			// An error means that the client is gone.
			_, _ = w.Write(page.Bytes())
		case errors.Is(err, report.ErrNone):
			Problem(w, http.StatusNotFound, err.Error())
		case errors.Is(err, report.ErrAsked):
			Problem(w, http.StatusUnprocessableEntity, err.Error())
		default:
			Problem(w, http.StatusServiceUnavailable, "the record cannot be read: "+err.Error())
		}
	}}, nil
}

// printable says in an answer's head that it is a page of package paper, which has its
// own style and nothing else: it loads nothing, runs nothing and sends nothing.
func printable(h http.Header) {
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
}
