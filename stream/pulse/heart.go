package pulse

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"weald/ingest/sample"
)

// A Beat is what a Way is told.
type Beat struct {
	Number uint64         // from 1, of those that were due since the start, with those that were held back
	At     sample.Instant // on the daemon's clock
	Every  time.Duration  // until the next one is due, host time
	Audit  string         // the end of the audit's chain, as package audit's Verify takes it; "" where there is none
}

// A Way is to somebody who waits for beats.
type Way interface {
	// Beat delivers one until ctx ends. The text of its error is for people and holds
	// no secret. One call at a time.
	Beat(ctx context.Context, b Beat) error

	// Close says that no more will come.
	Close()
}

// A Proof returns nil when what it stands for has happened after it was called, and
// an error when ctx ends before. The text of its error is for people.
type Proof func(ctx context.Context) error

// A Heart sends beats on one way. Its fields are set before Run.
type Heart struct {
	Name   string        // for people: "heartbeat to the webhook"
	Every  time.Duration // > 0; a proof and a delivery may take as long, each
	Proofs []Proof       // all of them are asked for, in this order
	Way    Way
	Now    func() sample.Instant
	Log    *slog.Logger

	// Audit returns the end of the audit's chain, "" where that is not known; nil
	// where it is not told.
	Audit func(context.Context) string

	mu     sync.Mutex
	status Status // guarded by mu
}

// A Status is how a heart fares.
type Status struct {
	Name    string
	Every   time.Duration
	Taken   sample.Instant // the newest beat that was taken; Past before the first
	Held    bool           // the newest one was held back, as a proof was missing
	Trouble string         // why the newest one was not delivered; "" if it was
	Since   sample.Instant // of Trouble; Past without any
}

// Status may be asked for by any goroutine.
func (h *Heart) Status() Status {
	h.mu.Lock()
	defer h.mu.Unlock()
	s := h.status
	s.Name, s.Every = h.Name, h.Every
	if s.Taken == 0 {
		s.Taken = sample.Past
	}
	if s.Trouble == "" {
		s.Since = sample.Past
	}
	return s
}

// Run beats until ctx ends, and returns the cause of that. It starts no goroutine.
func (h *Heart) Run(ctx context.Context) error {
	defer h.Way.Close()
	ticker := time.NewTicker(h.Every)
	defer ticker.Stop()
	began := time.Now()
	for {
		h.beat(ctx, uint64(time.Since(began)/h.Every)+1)
		select {
		case <-ticker.C:
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

var errSilent = errors.New("nothing came within the time between two beats")

func (h *Heart) beat(ctx context.Context, number uint64) {
	limited, cancel := context.WithTimeoutCause(ctx, h.Every, errSilent)
	defer cancel()
	for _, prove := range h.Proofs {
		if err := prove(limited); err != nil {
			if ctx.Err() == nil {
				h.note(true, err)
			}
			return
		}
	}
	sending, end := context.WithTimeoutCause(ctx, h.Every, errSilent)
	defer end()
	b := Beat{Number: number, At: h.Now(), Every: h.Every}
	if h.Audit != nil {
		b.Audit = h.Audit(sending)
	}
	if err := h.Way.Beat(sending, b); err == nil || ctx.Err() == nil {
		h.note(false, err)
	}
}

// note keeps what became of a beat, and logs where that is new.
func (h *Heart) note(held bool, err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	s := &h.status
	was := *s
	s.Held, s.Trouble = held, ""
	if err != nil {
		s.Trouble = err.Error()
		if was.Trouble == "" {
			s.Since = h.Now()
		}
	} else {
		s.Taken = h.Now()
	}
	name := slog.String("beat", h.Name)
	switch {
	case err == nil && was.Trouble != "":
		h.Log.Info(fmt.Sprintf("beats go out again; the last one before did at %v", was.when()), name)
	case err == nil || was.Trouble == s.Trouble || was.Trouble != "" && was.Held == held:
	case held:
		h.Log.Error("a beat is held back, as the daemon does not do its work", name, slog.Any("why", err), slog.String("do", "if this lasts, start it again"))
	default:
		h.Log.Warn("a beat was not taken, so that whoever waits for it must think that the daemon is gone", name, slog.Any("why", err),
			slog.String("do", "see whether the way there is open: weald doctor"))
	}
}

func (s *Status) when() any {
	if s.Taken <= 0 {
		return "no time since the start"
	}
	return s.Taken
}
