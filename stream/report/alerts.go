package report

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/tuning"
	"weald/stream/record"
	"weald/stream/report/paper"
	"weald/stream/view"
)

const (
	mostEvents = 20  // that are drawn
	mostRows   = 200 // of a table of what happened
)

// An episode is one alert from being raised to being cleared, as people were told.
type episode struct{ view.Alert }

func (e *episode) from() sample.Instant { return sample.At(*e.RaisedAt) }

// alerts returns the alerts of the record that stood in the stretch, in the order in
// which they were raised, and how many more nobody was told of as they chattered.
func (x *stretch) alerts() (all []episode, quiet int, err error) {
	entries, err := x.entries(2*tuning.StandingLong, record.KindTransition)
	if err != nil {
		return nil, 0, err
	}
	open := map[alert.Key]int{}
	for i := range entries {
		e := entries[i].Body.(record.Transition).Event
		k, ok := open[e.Key]
		switch {
		case e.Quiet:
			if e.What == alert.Raised && e.At >= x.from {
				quiet++
			}
		case e.What == alert.Raised:
			open[e.Key] = len(all)
			all = append(all, episode{view.NewAlert(&e)})
		case ok:
			all[k].Apply(&e)
		}
	}
	all = slices.DeleteFunc(all, func(e episode) bool { return e.ClearedAt != nil && sample.At(*e.ClearedAt) < x.from })
	slices.SortStableFunc(all, func(a, b episode) int { return cmp.Compare(a.from(), b.from()) })
	return all, quiet, nil
}

func (x *stretch) alertSection(all []episode, quiet int) paper.Section {
	s := paper.Section{Title: "Alerts"}
	if len(all) == 0 {
		s.Text = []string{"None was raised that people were told of."}
	} else {
		s.Table = &paper.Table{Name: "alerts", Told: true, Heads: []string{"no.", "raised", "stood for", "acknowledged", "priority", "what"}}
	}
	times := x.times()
	for i := range all[:min(len(all), mostRows)] {
		a := &all[i]
		stood, answered := "still stands", "by nobody"
		if a.ClearedAt != nil {
			stood = paper.Lasting(a.ClearedAt.Sub(*a.RaisedAt))
		}
		if a.AcknowledgedAt != nil {
			answered = "after " + paper.Lasting(max(0, a.AcknowledgedAt.Sub(*a.RaisedAt)))
			if a.AcknowledgedBy != "" {
				answered += ", " + a.AcknowledgedBy
			}
		}
		s.Table.Add(fmt.Sprint(i+1), times.Short(a.from()), stood, answered, a.Priority, a.Rule+": "+a.Text)
	}
	if n := len(all) - mostRows; n > 0 {
		s.Notes = append(s.Notes, fmt.Sprintf("And %d more.", n))
	}
	if quiet > 0 {
		s.Notes = append(s.Notes, fmt.Sprintf("%d more were raised of which nobody was told, as they chattered.", quiet))
	}
	return s
}

// marks are what people noted at the place.
func (x *stretch) marks() (paper.Section, error) {
	s := paper.Section{Title: "Marks"}
	entries, err := x.entries(0, record.KindMark)
	if len(entries) == 0 {
		s.Text = []string{"Nobody set one."}
		return s, err
	}
	s.Table = &paper.Table{Name: "marks", Told: true, Heads: []string{"when", "who", "what"}}
	for i := range entries[:min(len(entries), mostRows)] {
		e := &entries[i]
		m := e.Body.(record.Mark)
		what := m.What
		if m.Text != "" {
			what += ": " + m.Text
		}
		s.Table.Add(x.times().Short(e.At), cmp.Or(e.Author, "not signed"), what)
	}
	if n := len(entries) - mostRows; n > 0 {
		s.Notes = append(s.Notes, fmt.Sprintf("And %d more.", n))
	}
	return s, err
}

// lasting writes a span in a table; of no time nothing is known.
func lasting(d time.Duration) string {
	if d == 0 {
		return paper.NotKnown
	}
	return paper.Lasting(d)
}
