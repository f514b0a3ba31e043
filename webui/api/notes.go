package api

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/pipeline"
	"weald/stream/record"
)

// What a person writes may be so far ahead of the place's present: clocks of
// people are not those of daemons.
const aheadAtMost = time.Minute

// recording returns an error where nothing is kept.
func (s *server) recording() error {
	if s.Record == nil {
		return huma.Error503ServiceUnavailable("nothing can be noted: the configuration names no folder for the record; give it data: and a folder")
	}
	return nil
}

// note keeps an entry of a place. It is on the disk when note returns nil.
func (s *server) note(ctx context.Context, e record.Entry) (record.Position, error) {
	if err := writtenError(e.Body); err != nil {
		return 0, err
	}
	if err := s.ask(ctx, func(st *pipeline.State) { e.Written = st.Now() }); err != nil {
		return 0, err
	}
	p, err := s.Record.Append(ctx, e)
	if err != nil {
		return 0, notKept(err)
	}
	return p, nil
}

// notKept says why the record has not taken an entry.
func notKept(err error) error {
	switch {
	case errors.Is(err, record.ErrInvalid):
		return huma.Error422UnprocessableEntity(err.Error())
	case errors.Is(err, journal.ErrFull):
		return huma.Error503ServiceUnavailable("it was not kept: the disk is full")
	}
	return huma.Error503ServiceUnavailable("it was not kept: " + err.Error())
}

// when is t, which must not lie ahead, or the place's present if t was not
// given.
func (s *server) when(ctx context.Context, place int, t time.Time) (sample.Instant, error) {
	now, err := s.instant(ctx, place, time.Time{})
	if err != nil || t.IsZero() {
		return now, err
	}
	at, err := instantOf(t)
	if err == nil && at > now.Add(aheadAtMost) {
		err = huma.Error422UnprocessableEntity(fmt.Sprintf("at: %s has not come yet; here it is %s",
			t.UTC().Format(time.RFC3339), now.Time().Format(time.RFC3339)))
	}
	return at, err
}

// entries calls each with the entries that q picks until it returns false. What
// is damaged is left out.
func (s *server) entries(ctx context.Context, q journal.Query, each func(*record.Entry) bool) error {
	for e, err := range journal.Readable(s.Record.Entries(ctx, q), nil) {
		if err != nil {
			return huma.Error503ServiceUnavailable("the record cannot be read: " + err.Error())
		}
		if !each(&e) {
			break
		}
	}
	return nil
}
