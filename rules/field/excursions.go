package field

import (
	"math"
	"time"

	"weald/ingest/sample"
	"weald/rules/hold"
)

// An excursion is a time beyond the limit, without a break, and the gap after it.
type excursion struct {
	before  time.Duration // beyond the limit, in all excursions before
	lasting time.Duration // > 0
	forgets bool          // the gap makes a hold that is not raised forget
	clears  bool          // the gap clears an alert that was raised by then
}

// Excursions are those of a trace for one limit. The zero value is ready, and one
// that is used again keeps its memory: an excursion takes 24 bytes.
type Excursions struct {
	spec hold.Spec // without the on-delay
	list []excursion
	next []int // by excursion: the first one after the gap that clears what was raised in it

	// The gap that is under way.
	apart  bool // something lies between the last excursion and now
	off    time.Duration
	silent time.Duration
}

// Find takes the excursions of a trace beyond a band. The on-delay of the spec
// counts for nothing.
func (x *Excursions) Find(t *Trace, band *hold.Certain, spec *hold.Spec) {
	*x = Excursions{spec: *spec, list: x.list[:0], next: x.next[:0]}
	var m hold.Memory
	for i := range t.At {
		var is sample.Truth
		if is, m = t.judge(band, i, m); t.open(i) {
			x.add(t.span(i), is)
		}
	}
	x.next = append(x.next, make([]int, len(x.list))...)
	clears := math.MaxInt // it stands to the end
	for k := len(x.list) - 1; k >= 0; k-- {
		if x.list[k].clears {
			clears = k + 1
		}
		x.next[k] = clears
	}
}

// add lets a span pass, as hold.State.Advance does.
func (x *Excursions) add(span time.Duration, is sample.Truth) {
	n := len(x.list)
	if is == sample.Yes {
		switch {
		case span == 0: // only a delay of zero would take note
		case n > 0 && !x.apart:
			x.list[n-1].lasting += span
		default:
			e := excursion{lasting: span}
			if n > 0 {
				e.before = x.list[n-1].before + x.list[n-1].lasting
			}
			x.list = append(x.list, e)
			x.apart, x.off, x.silent = false, 0, 0
		}
		return
	}
	if n == 0 {
		return // there is nothing yet that a gap could undo
	}
	e := &x.list[n-1]
	x.apart = true
	if is == sample.No {
		x.off += span
		e.clears = e.clears || x.off >= x.spec.OffDelay
		if span > 0 {
			x.silent = 0
			e.forgets = e.forgets || x.off >= x.spec.ResetsAfter
		}
		return
	}
	if span > 0 {
		x.silent += span
		e.forgets = e.forgets || x.silent >= x.spec.ForgetAfter
	}
}

// Raises adds to counts how often each of the delays is raised. The delays ascend
// and are above zero.
func (x *Excursions) Raises(delays []time.Duration, counts []int) {
	resume := make([]int, len(delays)) // by delay: the excursion that it goes on with
	for from := 0; from < len(x.list); {
		to := from + 1
		for to < len(x.list) && !x.list[to-1].forgets {
			to++
		}
		last := &x.list[to-1]
		all := last.before + last.lasting - x.list[from].before
		for d, delay := range delays {
			if delay > all {
				break // nor is a longer one raised
			}
			if resume[d] < to {
				n, next := x.run(max(from, resume[d]), to, delay)
				counts[d] += n
				resume[d] = next
			}
		}
		from = to
	}
}

// run counts what a hold with nothing held raises in the excursions from one to
// before another, between which nothing makes it forget, and returns with which
// excursion it goes on.
func (x *Excursions) run(from, to int, delay time.Duration) (n, next int) {
	begun := x.list[from].before
	for k := from; k < to; {
		e := &x.list[k]
		if e.before+e.lasting-begun < delay {
			k++
			continue
		}
		n++
		if k = x.next[k]; k >= to {
			return n, k
		}
		begun = x.list[k].before
	}
	return n, to
}
