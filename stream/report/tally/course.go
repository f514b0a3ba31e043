package tally

import (
	"math"
	"time"

	"weald/ingest/sample"
)

// A Course is what one signal did, in steps of equal length.
type Course struct {
	from  sample.Instant
	step  time.Duration
	Steps []Mean
}

// NewCourse divides a stretch into at most n steps of a whole second or more.
func NewCourse(from, to sample.Instant, n int) *Course {
	step := max(time.Duration(math.Ceil(to.Sub(from).Seconds()/float64(n))), 1) * time.Second
	return &Course{from: from, step: step, Steps: make([]Mean, max(1, (to.Sub(from)+step-1)/step))}
}

// Step is how long a step is, and At when one begins.
func (c *Course) Step() time.Duration { return c.step }

// At returns when a step begins.
func (c *Course) At(i int) sample.Instant { return c.from.Add(time.Duration(i) * c.step) }

// Add counts a value that lasted from one instant to another.
func (c *Course) Add(v Value, from, to sample.Instant) {
	if !v.Known() {
		return
	}
	for from < to {
		i := int(from.Sub(c.from) / c.step)
		end := min(to, c.At(i+1))
		c.Steps[i].Add(v, end.Sub(from))
		from = end
	}
}

// A State is what a condition is.
type State int8

// The states.
const (
	Unknown State = iota
	No
	Yes
)

// StateOf is that of a signal that is yes or no.
func StateOf(v Value) State {
	switch {
	case !v.Known():
		return Unknown
	case v.V == 0:
		return No
	}
	return Yes
}

// A Run is a stretch in which a condition stayed what it was.
type Run struct {
	From, To sample.Instant
	State    State
}

// Span is how long it is.
func (r *Run) Span() time.Duration { return r.To.Sub(r.From) }

// Runs is a condition over time.
type Runs []Run

// Add goes on with a state. What is shorter than a step of a drawing is kept too, so
// memory grows with how often the condition changes.
func (r *Runs) Add(s State, from, to sample.Instant) {
	if n := len(*r); n > 0 && (*r)[n-1].State == s && (*r)[n-1].To == from {
		(*r)[n-1].To = to
		return
	}
	*r = append(*r, Run{from, to, s})
}

// In returns for how long the condition was in a state.
func (r Runs) In(s State) (sum time.Duration) {
	for i := range r {
		if r[i].State == s {
			sum += r[i].Span()
		}
	}
	return sum
}

// A Counter follows a signal that counts from 0.
type Counter struct{ last float64 }

// Add takes the count as it is, and returns by how much it has grown. One that fell
// has begun anew.
func (c *Counter) Add(v Value) (grown int) {
	if !v.Known() {
		return 0
	}
	if v.V > c.last {
		grown = int(v.V - c.last)
	}
	c.last = v.V
	return grown
}
