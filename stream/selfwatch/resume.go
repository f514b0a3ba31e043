package selfwatch

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/record"
)

// A standing is an alert of the daemon's own that was not over when a former run ended.
type standing struct {
	fault record.Fault
	since sample.Instant
}

// take takes up what the record says of the daemon's own alerts. What still stands is
// to be told again; what nobody looks at any more is over, and so is that readings were
// not kept: whether they are is found anew.
func (w *Watcher) take(ctx context.Context) error {
	found, err := stands(ctx, w.Journal)
	if err != nil {
		return err
	}
	now := w.Now()
	var over []record.Entry
	for _, s := range found {
		why := ""
		sender, of := strings.CutPrefix(s.fault.Subject, record.SenderFault)
		kind := Index(strings.TrimPrefix(s.fault.Subject, record.SelfFault))
		switch {
		case s.fault.Subject == record.RecordFault:
			why = "whether that is still so is found anew"
		case of && !slices.Contains(w.Senders, sender):
			why = "the configuration has no such sender any more"
		case of: // the outbox goes on with it
		case kind < 0, w.settings[kind].Off:
			why = "this is not looked at any more"
		default:
			w.watch.Stands(kind, s.since, s.fault.Text)
		}
		if why == "" {
			e, _ := s.fault.Alert(s.since)
			w.untold = append(w.untold, e)
			continue
		}
		f := s.fault
		f.Over, f.Text = true, why
		over = append(over, record.Entry{At: now, Written: now, Body: f})
	}
	if len(over) == 0 {
		return nil
	}
	if _, err := w.late.Append(ctx, over...); err != nil && !errors.Is(err, journal.ErrLater) {
		return fmt.Errorf("ending alerts of the daemon's own: %w", err)
	}
	return nil
}

// stands returns the alerts of the daemon's own that the record does not end, oldest
// first.
func stands(ctx context.Context, j journal.Log) (out []standing, err error) {
	seen := map[string]bool{}
	for e, err := range journal.Readable(j.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindFault}, Newest: true}), nil) {
		if err != nil {
			return nil, fmt.Errorf("the daemon's own alerts: %w", err)
		}
		f, _ := e.Body.(record.Fault)
		if _, ok := f.Alert(e.At); !ok || seen[f.Subject] {
			continue
		}
		seen[f.Subject] = true
		if !f.Over {
			out = append(out, standing{f, e.At})
		}
	}
	slices.Reverse(out)
	return out, nil
}

// event returns the alert that a change is.
func (c *Change) event() alert.Event {
	e, _ := c.Fault.Alert(c.At)
	e.Held = c.At.Sub(c.Since)
	return e
}
