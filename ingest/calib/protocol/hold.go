package protocol

import (
	"math"
	"time"

	"weald/ingest/calib/figures"
	"weald/ingest/sample"
)

// Held adds to levels the one that is held at the end to learn creep: the highest, come
// to once more. It is no row of the table, whose levels are all read at one age.
func Held(levels []Level) []Level {
	highest := 0.0
	for _, l := range levels {
		highest = max(highest, l.Reference)
	}
	return append(levels, Level{levels[len(levels)-1].Cycle + 1, figures.Up, highest})
}

// Bounds of a hold. Creep is told by a decade and a half of ages at least; common
// practice is ten minutes.
const (
	leastHold = 3 * time.Minute
	mostHold  = time.Hour

	binsPerDecade = 20
)

// A Hold is what one channel under the cuff did while a pressure was held: means over
// ages of its load that grow by the same factor, as creep does.
type Hold struct {
	Channel int       `json:"channel"`
	Ages    []float64 `json:"ages_s"`
	Raw     []float64 `json:"raw"`
	Touched bool      `json:"touched,omitempty"` // somebody pumped meanwhile
}

// A hold is the pressure that is held, while it is and after.
type hold struct {
	until    sample.Instant
	over     bool
	channels []held
}

type held struct {
	index   int
	from    sample.Instant // the load is as old as that
	last    sample.Instant // of the last reading
	touched bool
	bins    []bin
}

type bin struct{ age, raw, n float64 }

func (h *held) add(at sample.Instant, raw float64) {
	if at <= h.last || math.IsNaN(raw) {
		return
	}
	h.last = at
	age := max(at.Sub(h.from).Seconds(), 0)
	k := int(binsPerDecade * math.Log10(1+age))
	for len(h.bins) <= k {
		h.bins = append(h.bins, bin{})
	}
	h.bins[k] = bin{h.bins[k].age + age, h.bins[k].raw + raw, h.bins[k].n + 1}
}

// hold begins to hold the pressure that was read just now: what the channels did since
// they came there counts.
func (r *Run) hold(now sample.Instant) {
	t := &r.taken[len(r.taken)-1]
	r.held = &hold{until: now.Add(r.plan.Hold - r.plan.Dwell)}
	for i := range r.windows {
		if w := &r.windows[i]; r.plan.Under[i] && !math.IsNaN(t.Raw[i]) {
			h := held{index: i, from: w.arrived, last: sample.Past}
			for _, one := range w.since(w.arrived) {
				h.add(one.at, one.raw)
			}
			r.held.channels = append(r.held.channels, h)
		}
	}
}

// follow takes a scan while a pressure is held.
func (r *Run) follow(at sample.Instant, raw []float64) {
	for k := range r.held.channels {
		h := &r.held.channels[k]
		if h.touched = h.touched || r.windows[h.index].arrived != h.from; h.index < len(raw) {
			h.add(at, raw[h.index])
		}
	}
}

// Holding returns for how much longer the last pressure is held; false where none is.
func (r *Run) Holding(now sample.Instant) (time.Duration, bool) {
	if r.held == nil || r.held.over {
		return 0, false
	}
	return max(r.held.until.Sub(now), 0), true
}

// Holds returns what the channels did under the pressure that was held, as far as it
// was.
func (r *Run) Holds() (out []Hold) {
	if r.held == nil {
		return nil
	}
	for _, h := range r.held.channels {
		one := Hold{Channel: h.index, Touched: h.touched}
		for _, b := range h.bins {
			if b.n > 0 {
				one.Ages, one.Raw = append(one.Ages, b.age/b.n), append(one.Raw, b.raw/b.n)
			}
		}
		out = append(out, one)
	}
	return out
}

// holdOf makes of what was kept of a hold one that is over.
func holdOf(all []Hold) *hold {
	h := &hold{over: true}
	for _, one := range all {
		c := held{index: one.Channel, touched: one.Touched}
		for i := range min(len(one.Ages), len(one.Raw)) {
			c.bins = append(c.bins, bin{one.Ages[i], one.Raw[i], 1})
		}
		h.channels = append(h.channels, c)
	}
	return h
}

// rowsTaken are the levels that were read for the table.
func (r *Run) rowsTaken() []Taken {
	if r.plan.Hold > 0 {
		return r.taken[:min(len(r.taken), len(r.plan.Levels)-1)]
	}
	return r.taken
}
