package api

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"path/filepath"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"weald/ingest/sample"
	"weald/stream/access"
	"weald/stream/order"
)

type exportFile struct {
	Name  string `json:"name"`
	Bytes int64  `json:"bytes"`
	Rows  int64  `json:"rows" doc:"Of a table; samples of all signals in EDF+, those that are known in FHIR"`
}

type export struct {
	ID     string       `json:"id"`
	Place  string       `json:"place"`
	Format string       `json:"format" enum:"csv,edf,parquet,fhir"`
	From   *time.Time   `json:"from" doc:"null for the beginning of the record"`
	To     *time.Time   `json:"to" doc:"null for its end"`
	State  order.State  `json:"state" enum:"waiting,making,made,stopped,failed"`
	Share  float64      `json:"share" minimum:"0" maximum:"1" doc:"How far it has come; never goes back"`
	Files  []exportFile `json:"files" nullable:"false" doc:"Once it is made: each is at /api/v1/exports/{export}/files/{name}"`
	Notes  []string     `json:"notes" nullable:"false" doc:"What could not be read"`
	Why    string       `json:"why" doc:"Why it failed"`
}

type exportsBody struct {
	Exports []export `json:"exports" nullable:"false" doc:"The one that was asked for last comes first"`
}

type exportInput struct {
	Export string `path:"export" doc:"The export's id"`
}

type fileInput struct {
	Export string `path:"export" doc:"The export's id"`
	Name   string `path:"name" doc:"The file's name"`
}

type newExport struct {
	Body struct {
		Place  string    `json:"place" minLength:"1" maxLength:"64" doc:"The place's id in the configuration"`
		Format string    `json:"format" enum:"csv,edf,parquet,fhir" doc:"fhir has readings alone, the others alerts, marks and sessions too; csv, parquet and fhir have the uncertainty of each value and whether its calibration held, edf says it of each signal"`
		From   time.Time `json:"from,omitempty" doc:"The beginning of the record without it"`
		To     time.Time `json:"to,omitempty" doc:"Before this instant; without it to the newest reading and as long as that counts"`
	}
}

func (s *server) addExports(api huma.API) {
	huma.Register(api, operation("exports", "Exports of this daemon: those being made, and the newest that were"), s.listExports)
	huma.Register(api, noted("export", "Ask for a place's signals, alerts and marks as files", 404, 409), s.export)
	huma.Register(api, operation("one-export", "How far an export has come", 404), s.oneExport)
	huma.Register(api, step("stop-export", "Stop an export; nothing of it stays", 404), s.stopExport)
	file := operation("export-file", "A file of an export that is made", 404, 409)
	file.Responses = map[string]*huma.Response{"200": {Description: "The file", Content: map[string]*huma.MediaType{
		"application/octet-stream": {Schema: &huma.Schema{Type: "string", Format: "binary"}},
	}}}
	huma.Register(api, file, s.exportFile)
}

// orders returns the desk, or an error where nothing is kept.
func (s *server) orders() (*order.Desk, error) {
	if s.Exports == nil {
		return nil, huma.Error503ServiceUnavailable("nothing can be exported: the configuration names no folder for the record; give it data: and a folder")
	}
	return s.Exports, nil
}

func (s *server) listExports(context.Context, *struct{}) (*answer[exportsBody], error) {
	desk, err := s.orders()
	if err != nil {
		return nil, err
	}
	a := &answer[exportsBody]{Body: exportsBody{Exports: []export{}}}
	for _, o := range desk.All() {
		a.Body.Exports = append(a.Body.Exports, exportOf(&o))
	}
	return a, nil
}

func (s *server) export(ctx context.Context, in *newExport) (*answer[export], error) {
	desk, err := s.orders()
	if err != nil {
		return nil, err
	}
	if _, err := s.place(in.Body.Place); err != nil {
		return nil, err
	}
	access.Of(ctx).About = "place=" + in.Body.Place
	ask := order.Ask{Place: in.Body.Place, Format: in.Body.Format, From: sample.Past, To: sample.Never}
	if !in.Body.From.IsZero() {
		if ask.From, err = instantOf(in.Body.From); err != nil {
			return nil, err
		}
	}
	if !in.Body.To.IsZero() {
		if ask.To, err = instantOf(in.Body.To); err != nil {
			return nil, err
		}
	}
	if ask.From >= ask.To {
		return nil, huma.Error422UnprocessableEntity("to: it must be after from")
	}
	o, err := desk.Place(ask)
	if err != nil {
		return nil, huma.Error409Conflict(err.Error() + ": wait for one of them, or stop it")
	}
	return &answer[export]{exportOf(&o)}, nil
}

func (s *server) oneExport(_ context.Context, in *exportInput) (*answer[export], error) {
	return s.exportBy(in.Export, (*order.Desk).Get)
}

func (s *server) stopExport(_ context.Context, in *exportInput) (*answer[export], error) {
	return s.exportBy(in.Export, (*order.Desk).Stop)
}

func (s *server) exportBy(id string, f func(*order.Desk, string) (order.Order, error)) (*answer[export], error) {
	desk, err := s.orders()
	if err != nil {
		return nil, err
	}
	o, err := f(desk, id)
	if err != nil {
		return nil, huma.Error404NotFound(fmt.Sprintf("there is no export %q", id))
	}
	return &answer[export]{exportOf(&o)}, nil
}

// exportFile sends a file, which may take longer than other answers.
func (s *server) exportFile(_ context.Context, in *fileInput) (*huma.StreamResponse, error) {
	desk, err := s.orders()
	if err != nil {
		return nil, err
	}
	f, err := desk.Open(in.Export, in.Name)
	switch {
	case errors.Is(err, order.ErrUnmade):
		return nil, huma.Error409Conflict(fmt.Sprintf("export %q is not made", in.Export))
	case err != nil:
		return nil, huma.Error404NotFound(fmt.Sprintf("export %q has no file %q", in.Export, in.Name))
	}
	return &huma.StreamResponse{Body: func(ctx huma.Context) {
		defer f.Close()
		_, w := humago.Unwrap(ctx)
		// Where there is no deadline to lift there is none.
		_ = http.NewResponseController(w).SetWriteDeadline(time.Time{})
		ctx.SetHeader("Content-Type", "application/octet-stream")
		ctx.SetHeader("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": filepath.Base(in.Name)}))
		if info, err := f.Stat(); err == nil {
			ctx.SetHeader("Content-Length", fmt.Sprint(info.Size()))
		}
		// An error means that the client is gone.
		_, _ = io.Copy(ctx.BodyWriter(), f)
	}}, nil
}

func exportOf(o *order.Order) export {
	e := export{ID: o.ID, Place: o.Ask.Place, Format: o.Ask.Format, State: o.State, Share: o.Share, Why: o.Why,
		Files: []exportFile{}, Notes: append([]string{}, o.Notes...)}
	if o.Ask.From != sample.Past {
		t := o.Ask.From.Time()
		e.From = &t
	}
	if o.Ask.To != sample.Never {
		t := o.Ask.To.Time()
		e.To = &t
	}
	for _, f := range o.Files {
		e.Files = append(e.Files, exportFile(f))
	}
	return e
}
