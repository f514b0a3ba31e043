package live

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"weald/rules"
	"weald/stream/pipeline"
	"weald/stream/view"
)

// look asks the pipeline for the places that anybody watches, and gives each
// viewer those that have changed since it was last told of them.
func (h *Hub) look(ctx context.Context, clients []*client) error {
	watched := make([]bool, len(h.Places))
	subs := make([]*subscription, len(clients))
	for k, c := range clients {
		if subs[k] = c.sub.Load(); subs[k] == nil {
			continue
		}
		for i, w := range subs[k].places {
			watched[i] = watched[i] || w
		}
	}
	// A viewer that watches nothing wants to know that the pipeline lives.
	if !slices.Contains(watched, true) {
		return h.Pipeline.Do(ctx, func(*pipeline.State) {})
	}
	for i, w := range watched {
		if !w {
			continue
		}
		// One place at a time: an alert does not wait until a ward has been looked at.
		var v view.Place
		if err := h.Pipeline.Do(ctx, func(st *pipeline.State) { v = brief(st.Place(i)) }); err != nil {
			return err
		}
		key := keyOf(&v)
		var whole, sentences *told
		for k, c := range clients {
			s := subs[k]
			if s == nil || !s.places[i] || s.told[i] == key {
				continue
			}
			t, shown := &whole, brief
			if s.bare {
				t, shown = &sentences, bare
			}
			if *t == nil {
				*t = new(told)
			}
			switch {
			case !s.news && (*t).whole == nil:
				(*t).whole = encode(placeEvent{Event: "place", Place: shown(v)})
			case s.news && (*t).parts == nil:
				last := &h.given[i]
				if s.bare {
					last = &h.givenBare[i]
				}
				(*t).parts = partsOf(shown(v)).after(*last)
				*last = (*t).parts
			}
			s.told[i] = key
			c.places.put(s, i, *t)
			c.nudge()
		}
	}
	return nil
}

// brief drops from a view the numbers that are made of others: there are many,
// and they have streams.
func brief(v view.Place) view.Place {
	maps.DeleteFunc(v.Signals, func(name string, _ view.Signal) bool {
		return strings.Contains(name, ".") && !rules.IsMeasured(name)
	})
	return v
}

// bare drops all numbers from a view, for viewers of a ward who read sentences and
// see how far holds have come: a bed's is less than half as long then.
func bare(v view.Place) view.Place {
	v.Signals = map[string]view.Signal{}
	return v
}

// keyOf holds all that makes a view worth sending again: the state and the
// sentence, the alerts, and how far holds have come, in steps of half a
// hundredth. Values of signals are not in it; they have streams.
func keyOf(p *view.Place) string {
	var b strings.Builder
	b.WriteString(p.State + "\n" + p.Text)
	for i := range p.Alerts {
		fmt.Fprintf(&b, "\n%s %t %s %s %d", p.Alerts[i].ID, p.Alerts[i].SignalKnown, p.Alerts[i].State, p.Alerts[i].Since, p.Alerts[i].Tier)
	}
	for i := range p.Holds {
		fmt.Fprintf(&b, "\n%s %d %t", p.Holds[i].Condition, int(p.Holds[i].Used*200), p.Holds[i].Raised)
	}
	return b.String()
}
