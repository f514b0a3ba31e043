package excerpt

import (
	"cmp"
	"slices"

	"weald/ingest/sample"
	"weald/stream/export"
	"weald/stream/journal"
	"weald/stream/keeper"
	"weald/stream/record"
	"weald/stream/sessions"
)

// entries calls each with the entries of the place that q picks.
func (x *Excerpt) entries(q journal.Query, each func(*record.Entry)) error {
	q.Place = x.place().ID
	for e, err := range journal.Readable(x.journal.Entries(x.ctx, q), x.lose) {
		if err != nil {
			return err
		}
		each(&e)
	}
	return nil
}

// decided returns what people have decided by which readings count otherwise, in order
// of time: records and zeroings that came into force, and marks within the excerpt.
func (x *Excerpt) decided() (all []record.Entry, err error) {
	for e, err := range journal.Readable(x.journal.Entries(x.ctx, journal.Query{Kinds: append(keeper.Converting(), record.KindMark)}), x.lose) {
		if err != nil {
			return nil, err
		}
		if e.Body.Kind() != record.KindMark || e.At >= x.from {
			all = append(all, e)
		}
	}
	slices.SortStableFunc(all, func(a, b record.Entry) int { return cmp.Compare(a.At, b.At) })
	return all, nil
}

// annotations returns what happened at the place, in order of time.
func (x *Excerpt) annotations() ([]export.Annotation, error) {
	var all []export.Annotation
	q := journal.Query{Kinds: []record.Kind{record.KindTransition, record.KindMark, record.KindFault}, Since: x.from, Until: x.to}
	err := x.entries(q, func(e *record.Entry) {
		a := export.Annotation{At: e.At, Author: e.Author}
		switch b := e.Body.(type) {
		case record.Transition:
			a.Kind, a.What, a.Rule, a.Subject = export.Alert, string(b.Event.What), b.Event.Rule, b.Event.Subject
			a.Priority, a.Text = b.Event.Priority.String(), b.Event.Text
		case record.Mark:
			a.Kind, a.What, a.Text = export.Mark, b.What, b.Text
		case record.Fault:
			a.Kind, a.What, a.Subject, a.Text = export.Fault, "began", b.Subject, b.Text
			if b.Over {
				a.What = "over"
			}
		}
		all = append(all, a)
	})
	slices.SortStableFunc(all, func(a, b export.Annotation) int { return cmp.Compare(a.At, b.At) })
	return all, err
}

// sessions are those that have something of the excerpt, in the order of their beginnings.
func (x *Excerpt) sessions() (have []export.Session, err error) {
	all, err := sessions.Read(x.ctx, x.journal, x.place().ID, x.lose)
	all = slices.DeleteFunc(all, func(s sessions.Session) bool { return s.To <= x.from || s.From >= x.to })
	slices.SortStableFunc(all, func(a, b sessions.Session) int { return cmp.Compare(a.From, b.From) })
	for _, s := range all {
		have = append(have, export.Session{Person: s.Code, ID: s.ID, From: s.From, To: s.To})
	}
	return have, err
}

// Span returns where the excerpt begins and ends.
func (x *Excerpt) Span() (from, to sample.Instant) { return x.from, x.to }
