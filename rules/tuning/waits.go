package tuning

import (
	"slices"

	"weald/ingest/sample"
	"weald/rules/alert"
)

// waits are how long people took to acknowledge.
type waits struct {
	answered []float64 // seconds
	soon     int
	missed   int // alerts that waited and were not acknowledged
}

// take sees whether an alert begins or ends to wait for somebody.
func (w *waits) take(l *life, e *alert.Event, inside bool) {
	calls := e.State == alert.Unacknowledged || e.State == alert.Latched || e.State == alert.Returned
	switch {
	case e.What == alert.WasAcknowledged && l.waits:
		l.waits = false
		if inside {
			took := e.At.Sub(l.owed)
			w.answered = append(w.answered, took.Seconds())
			if took <= Soon {
				w.soon++
			}
		}
	case calls && !l.waits:
		l.waits, l.owed, l.count = true, e.At, inside
	case !calls && l.waits:
		l.waits = false // it was put aside
		if l.count {
			w.missed++
		}
	}
}

// end counts an alert that waits to the end.
func (w *waits) end(l *life, to sample.Instant) {
	if l.waits && l.count && to.Sub(l.owed) >= Soon {
		w.missed++
	}
}

func (w *waits) into(f *Figures) {
	f.Answered = len(w.answered)
	if waited := f.Answered + w.missed; waited > 0 {
		f.AckSoon = float64(w.soon) / float64(waited)
	}
	if f.Answered == 0 {
		return
	}
	slices.Sort(w.answered)
	f.AckMedian, f.AckNinety = quantile(w.answered, 0.5), quantile(w.answered, 0.9)
}

// quantile interpolates between the two nearest of sorted values, at p times one
// less than their number: what R calls type 7 and NumPy linear.
func quantile(sorted []float64, p float64) float64 {
	at := p * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}
