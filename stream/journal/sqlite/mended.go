package sqlite

import (
	"context"
	"fmt"
	"iter"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// mended returns what was found damaged and was mended since Open began. Check
// tells what is missing now.
func (s *Store) mended() []journal.Finding {
	s.found.Lock()
	defer s.found.Unlock()
	return append([]journal.Finding(nil), s.found.all...)
}

func (s *Store) note(f journal.Finding) {
	s.found.Lock()
	defer s.found.Unlock()
	s.found.all = append(s.found.all, f)
}

// KeepMended writes what was mended and is not in the record yet into it, so that
// Check tells it ever after. Where there is no room the next call tries again. Log is
// the way into the record: the store, unless it follows a log.
func (s *Store) KeepMended(ctx context.Context, log journal.Log) {
	s.found.keeping.Lock()
	defer s.found.keeping.Unlock()
	var entries []record.Entry
	now := sample.At(time.Now())
	all := s.mended()
	for _, f := range all[s.found.kept:] {
		entries = append(entries, record.Entry{At: now, Written: now, Body: record.Fault{Subject: journal.FileFault, Text: f.Text}})
	}
	if len(entries) == 0 {
		return
	}
	if _, err := log.Append(lasting(ctx), entries...); err == nil {
		s.found.kept = len(all)
	}
}

// faults yields what was mended ever, as the record has it.
func (s *Store) faults(ctx context.Context) iter.Seq2[journal.Finding, error] {
	return func(yield func(journal.Finding, error) bool) {
		for e, err := range journal.Readable(s.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindFault}}), nil) {
			f, ok := e.Body.(record.Fault)
			switch {
			case err != nil:
				yield(journal.Finding{}, err)
				return
			case !ok || f.Subject != journal.FileFault:
			case !yield(journal.Finding{Trouble: journal.Mended, Text: fmt.Sprintf("on %s: %s", e.Written.Time().Format("2006-01-02 15:04 MST"), f.Text)}, nil):
				return
			}
		}
	}
}
