package calmlog

import (
	"context"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"time"
)

// Of the same line so many are written within a span; more than most different ones are
// not told apart.
const (
	burst = 5
	span  = time.Minute
	most  = 1000
)

// about are the attributes that make two lines with the same message different.
var about = []string{"bridge", "source", "sender", "beat", "user", "what", "link"}

// A Handler passes lines on to another, but for those that repeat.
type Handler struct {
	next  slog.Handler
	bound string // of about, bound by WithAttrs
	seen  *seen
}

// New returns one for all that is logged.
func New(next slog.Handler) *Handler {
	return &Handler{next: next, seen: &seen{lines: map[string]*line{}}}
}

type seen struct {
	mu    sync.Mutex
	lines map[string]*line // guarded by mu, as are they
	order []string         // of lines, as they came
}

type line struct {
	first   time.Time // of the span
	written int
	held    int
	level   slog.Level
	message string
	next    slog.Handler
}

// Enabled implements slog.Handler.
func (h *Handler) Enabled(ctx context.Context, l slog.Level) bool { return h.next.Enabled(ctx, l) }

// WithAttrs implements slog.Handler.
func (h *Handler) WithAttrs(attrs []slog.Attr) slog.Handler {
	return &Handler{next: h.next.WithAttrs(attrs), bound: h.bound + subject(attrs), seen: h.seen}
}

// WithGroup implements slog.Handler.
func (h *Handler) WithGroup(name string) slog.Handler {
	return &Handler{next: h.next.WithGroup(name), bound: h.bound, seen: h.seen}
}

func subject(attrs []slog.Attr) (out string) {
	for _, a := range attrs {
		if slices.Contains(about, a.Key) {
			out += "\x00" + a.Key + "\x00" + a.Value.String()
		}
	}
	return out
}

// Handle implements slog.Handler. Time is that of the records.
func (h *Handler) Handle(ctx context.Context, r slog.Record) error {
	var attrs []slog.Attr
	r.Attrs(func(a slog.Attr) bool { attrs = append(attrs, a); return true })
	over, pass := h.seen.take(strings.Join([]string{r.Level.String(), r.Message, h.bound, subject(attrs)}, "\x00"), r, h.next)
	for _, l := range over {
		sum := slog.NewRecord(r.Time, l.level, "the same again: "+l.message, 0)
		sum.AddAttrs(slog.Int("times", l.held), slog.Duration("within", span))
		if err := l.next.Handle(ctx, sum); err != nil {
			return err
		}
	}
	if !pass {
		return nil
	}
	return h.next.Handle(ctx, r)
}

// take notes a line. It returns those whose span is over and that were held back, and
// whether this one is to be written.
func (s *seen) take(key string, r slog.Record, next slog.Handler) (over []line, pass bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.order = slices.DeleteFunc(s.order, func(k string) bool {
		l := s.lines[k]
		if r.Time.Sub(l.first) < span && len(s.lines) < most {
			return false
		}
		if l.held > 0 {
			over = append(over, *l)
		}
		delete(s.lines, k)
		return true
	})
	l := s.lines[key]
	if l == nil {
		l = &line{first: r.Time, level: r.Level, message: r.Message, next: next}
		s.lines[key] = l
		s.order = append(s.order, key)
	}
	if l.written < burst {
		l.written++
		return over, true
	}
	l.held++
	return over, false
}
