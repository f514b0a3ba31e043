package contrast

import (
	"cmp"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
)

// An Episode is one alert from being raised to being cleared.
type Episode struct {
	alert.Key
	Priority alert.Priority
	From, To sample.Instant // To is the end of all where it Stands
	Stands   bool           // it was not cleared
	Value    float64        // when raised, in Unit; NaN unknown
	Unit     string
	Text     string // the sentence with which it was raised
	Quiet    bool   // it chattered: nobody is told of this one
}

// Episodes makes episodes of events in time order, up to the end. What cleared
// without having been raised among them is left out. They are sorted by their
// begin, and of those that begin at once by the order in which they were told.
func Episodes(events []alert.Event, end sample.Instant) []Episode {
	var out []Episode
	open := map[alert.Key]int{}
	for i := range events {
		switch e := &events[i]; e.What {
		case alert.Raised:
			open[e.Key] = len(out)
			out = append(out, Episode{
				Key: e.Key, Priority: e.Priority, From: e.At, To: max(e.At, end), Stands: true,
				Value: e.Value, Unit: e.Unit, Text: e.Text, Quiet: e.Quiet,
			})
		case alert.Cleared:
			if k, ok := open[e.Key]; ok {
				out[k].To, out[k].Stands = e.At, false
				delete(open, e.Key)
			}
		}
	}
	return out
}

// shares returns how much time two episodes have in common, and whether they
// have any.
func (e *Episode) shares(f *Episode) (time.Duration, bool) {
	from, to := max(e.From, f.From), min(e.To, f.To)
	point := e.From == e.To || f.From == f.To
	return to.Sub(from), to > from || to == from && point
}

// same reports whether two episodes are one and the same in what people see of
// them: when, and of what.
func (e *Episode) same(f *Episode) bool {
	return e.Key == f.Key && e.From == f.From && e.To == f.To && e.Stands == f.Stands && e.Priority == f.Priority
}

func byBegin(a, b Change) int {
	return cmp.Or(cmp.Compare(a.begin(), b.begin()), cmp.Compare(a.any().ID(), b.any().ID()))
}

func sorted(changes []Change) []Change {
	slices.SortStableFunc(changes, byBegin)
	return changes
}
