package audit

import (
	"context"
	"iter"
	"slices"
	"strings"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
	"weald/stream/sessions"
)

// A Query picks links. Its zero value picks all of them but those of changes of
// alerts, of which the record of alerts tells more.
type Query struct {
	From, To sample.Instant // when it was done; 0 for no bound
	Who      string         // who did it; "" for all
	Person   string         // whose data it was about, by code; "" for all
	Alerts   bool           // also changes of alerts
	Newest   bool           // the last ones first
}

// Lines yields the links that q picks. What is about a person is what names the
// code, and what was done at a place while that person was there, even if it was
// about somebody else. Links that cannot be read are left out: Verify tells of them.
func Lines(ctx context.Context, log journal.Log, q Query) iter.Seq2[record.Entry, error] {
	return func(yield func(record.Entry, error) bool) {
		var about []sessions.Session
		if q.Person != "" {
			all, err := sessions.Read(ctx, log, "", nil)
			if err != nil {
				yield(record.Entry{}, err)
				return
			}
			for _, s := range all {
				if s.Code == q.Person {
					about = append(about, s)
				}
			}
		}
		links := log.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindAudit}, Since: q.From, Until: q.To, Newest: q.Newest})
		for e, err := range journal.Readable(links, nil) {
			if err == nil && !q.takes(&e, about) {
				continue
			}
			if !yield(e, err) {
				return
			}
		}
	}
}

func (q *Query) takes(e *record.Entry, about []sessions.Session) bool {
	a := e.Body.(record.Audit)
	switch {
	case a.What == Alerts && !q.Alerts, q.Who != "" && a.Who.Text != q.Who:
		return false
	case q.Person == "" || a.Person.Text == q.Person || a.Who.Text == q.Person:
		return true
	}
	for i := range about {
		if s := &about[i]; slices.Contains(strings.Fields(a.Subject), s.ID) || e.Place == s.Place && e.At >= s.From && e.At <= s.To {
			return true
		}
	}
	return false
}
