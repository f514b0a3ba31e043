package export

import (
	"context"
	"strconv"
	"time"

	"weald/ingest/sample"
	"weald/stream/export/edf"
)

// csvEvents writes the annotations.
func (r *Recording) csvEvents(ctx context.Context, p *part) error {
	var row csvRow
	for _, title := range []string{
		"time", "seconds", "duration (s)", "kind", "what", "rule", "subject", "priority", "author", "text",
	} {
		row.text(title)
	}
	if _, err := p.Write(row.end()); err != nil {
		return err
	}
	return r.annotations(ctx, func(a *Annotation) error {
		row.begin()
		row.instant(a.At, r.Header.Start, r.Header.zone())
		row.seconds(a.Duration)
		for _, s := range []string{string(a.Kind), a.What, a.Rule, a.Subject, a.Priority, a.Author, a.Text} {
			row.text(s)
		}
		p.rows++
		_, err := p.Write(row.end())
		return err
	})
}

// annotations calls each with every annotation, and every session, until one of
// them, or ctx, has an error.
func (r *Recording) annotations(ctx context.Context, each func(*Annotation) error) error {
	last := sample.Past
	for a, err := range r.happened() {
		if err == nil {
			err = context.Cause(ctx)
		}
		if err == nil && a.At < last {
			err = &orderError{a.At, last}
		}
		if err == nil {
			err = each(&a)
		}
		if err != nil {
			return err
		}
		last = a.At
	}
	return context.Cause(ctx)
}

// An orderError is one of annotations that are not in the order of time.
type orderError struct{ at, after sample.Instant }

func (e *orderError) Error() string {
	return ErrRecording.Error() + ": an annotation of " + e.at.String() + " comes after one of " + e.after.String()
}

func (e *orderError) Unwrap() error { return ErrRecording }

// csvAbout writes what the other files do not say of themselves.
func (r *Recording) csvAbout(_ context.Context, p *part) error {
	h := &r.Header
	var row csvRow
	line := func(cells ...string) {
		row.begin()
		for _, c := range cells {
			row.text(c)
		}
		p.rows++
		// A bufio.Writer keeps its first error until it is flushed.
		_, _ = p.Write(row.end())
	}
	stamp := func(at sample.Instant) string { return at.Time().In(h.zone()).Format(time.RFC3339Nano) }
	whose := h.whose()
	line("what", "value", "unit", "rows per second", "value lasts at most (s)")
	for _, each := range [][2]string{
		{"place", h.Place}, {"person", whose.Person}, {"session", whose.ID}, {"program", h.program()},
		{"start", stamp(h.Start)}, {"end", stamp(h.End)}, {"zone", h.zoneName()},
	} {
		line(each[0], each[1], "", "", "")
	}
	for i := range r.Tracks {
		t := &r.Tracks[i]
		rate := "irregular"
		if t.Rate > 0 {
			rate = strconv.FormatFloat(t.Rate, 'f', -1, 64)
		}
		for _, s := range t.Signals {
			line("signal", s.Name, s.Unit, rate, string(edf.AppendSeconds(nil, t.stale())))
		}
	}
	for _, each := range [...][2]string{{"u", saysU}, {"extrapolated", saysExtrapolated}, {"expired", saysExpired}} {
		line("column "+each[0], each[1], "", "", "")
	}
	return nil
}
