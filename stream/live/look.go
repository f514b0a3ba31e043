package live

import (
	"context"
	"fmt"
	"strings"

	"weald/stream/pipeline"
	"weald/stream/view"
)

// seen is what viewers were last told about a place.
type seen struct{ key string }

// look asks the pipeline for the places that anybody watches, and gives those
// that have changed to those who watch them.
func (h *Hub) look(ctx context.Context, clients []*client) error {
	watched := make([]bool, len(h.Places))
	for _, c := range clients {
		if s := c.sub.Load(); s != nil {
			for i, w := range s.places {
				watched[i] = watched[i] || w
			}
		}
	}
	views := make([]view.Place, len(h.Places))
	err := h.Pipeline.Do(ctx, func(st *pipeline.State) {
		for i, w := range watched {
			if w {
				views[i] = st.Place(i)
			}
		}
	})
	if err != nil {
		return err
	}
	for i, w := range watched {
		if !w {
			continue
		}
		key := keyOf(&views[i])
		if key == h.views[i].key {
			continue
		}
		h.views[i].key = key
		body := encode(placeEvent{Event: "place", Place: views[i]})
		for _, c := range clients {
			if s := c.sub.Load(); s != nil && s.places[i] {
				c.places.put(i, body)
				c.nudge()
			}
		}
	}
	return nil
}

// keyOf holds all that makes a view worth sending again: the state and the
// sentence, the alerts, and how far holds have come, in steps of half a
// hundredth. Values of signals are not in it; they have streams.
func keyOf(p *view.Place) string {
	var b strings.Builder
	b.WriteString(p.State + "\n" + p.Text)
	for i := range p.Alerts {
		fmt.Fprintf(&b, "\n%s %t %s", p.Alerts[i].ID, p.Alerts[i].SignalKnown, p.Alerts[i].RaisedAt)
	}
	for i := range p.Holds {
		fmt.Fprintf(&b, "\n%s %d %t", p.Holds[i].Condition, int(p.Holds[i].Used*200), p.Holds[i].Raised)
	}
	return b.String()
}
