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

// deedError says why something that a person did is not in the record, or not yet.
func deedError(err error) error {
	why := err.Error()
	switch unreached := errors.Is(err, journal.ErrUnreached); {
	case errors.Is(err, pipeline.ErrWaits) && unreached:
		why = "it is done, and waits to be kept: the servers of the log do not answer, and whether it will be kept is not known"
	case errors.Is(err, pipeline.ErrWaits):
		why = "it is done, and in the log; the record of this machine has no room for it yet: " + err.Error()
	case unreached && (errors.Is(err, journal.ErrUnchanged) || errors.Is(err, pipeline.ErrNotKept)):
		why = "the servers of the log do not answer: nothing was changed"
	case errors.Is(err, context.DeadlineExceeded): // before it was taken
		why = "what judges has too much to do, or waits for the servers of the log: nothing was changed"
	case unreached:
		why = "the servers of the log do not answer: whether it was kept is not known"
	}
	return huma.Error503ServiceUnavailable(why)
}

// notKept says why the record has not taken an entry.
func notKept(err error) error {
	switch {
	case errors.Is(err, record.ErrInvalid):
		return huma.Error422UnprocessableEntity(err.Error())
	case errors.Is(err, journal.ErrUnreached):
		return deedError(err)
	case errors.Is(err, journal.ErrFull) && errors.Is(err, journal.ErrLater):
		return huma.Error503ServiceUnavailable("it is in the log, and will be kept: the disk of this machine is full")
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
