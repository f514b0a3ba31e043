package battery

import (
	"math"
	"slices"
	"time"

	"weald/ingest/sample"
)

const (
	fewestBins = 6
	shortest   = time.Hour
	normal95   = 1.959964 // 97.5 % of the normal distribution lie below it
)

// A fit is a straight line through the levels of late.
type fit struct {
	found bool
	at    sample.Instant // the instant at which the line has level
	level float64
	// The fall in levels a second and its bounds. Slow may be 0 or less: no
	// fall at all is possible.
	rate, slow, fast float64
}

// line fits the bins, from the newest back until there has been enough of a
// fall.
func (t *Trend) line() fit {
	var x, y [maxBins]float64 // seconds before the newest bin, levels; newest first
	n := 0
	step := t.step()
	newest := &t.bins[len(t.bins)-1]
	for i := len(t.bins) - 1; i >= 0; i-- {
		b := &t.bins[i]
		if b.warmth > 0 && t.celsius != NoCelsius && math.Abs(b.celsius-float64(t.celsius)) > warmer {
			continue
		}
		x[n] = newest.from.Sub(b.from).Seconds() + newest.after - b.after
		y[n] = b.level
		n++
		if n >= 2*fewestBins && x[n-1]-x[0] >= shortest.Seconds() && y[n-1]-y[0] >= enough*step {
			break
		}
	}
	if n < fewestBins {
		return fit{}
	}
	span := x[n-1] - x[0]
	if span < shortest.Seconds() {
		return fit{}
	}
	slopes := make([]float64, 0, n*(n-1)/2)
	for i := range n {
		for j := i + 1; j < n; j++ {
			slopes = append(slopes, (y[j]-y[i])/(x[j]-x[i]))
		}
	}
	slices.Sort(slopes)
	rate := quantile(slopes, 0.5)
	if rate*span < fallen*step {
		return fit{}
	}
	// Half the width of Sen's interval, in ranks: z times the deviation of S.
	k := float64(n)
	half := normal95 * math.Sqrt(k*(k-1)*(2*k+5)/18) / 2 / float64(len(slopes))
	// A gauge that counts in steps hides up to one of them over the whole span.
	hidden := step / span
	residual := make([]float64, n)
	for i := range n {
		residual[i] = y[i] - rate*x[i]
	}
	slices.Sort(residual)
	return fit{
		found: true, at: newest.from.Add(time.Duration(newest.after * float64(time.Second))),
		level: quantile(residual, 0.5), rate: rate,
		slow: quantile(slopes, 0.5-half) - hidden, fast: quantile(slopes, 0.5+half) + hidden,
	}
}

// quantile returns the value at the share q of sorted values.
func quantile(sorted []float64, q float64) float64 {
	at := min(max(q, 0), 1) * float64(len(sorted)-1)
	i := int(at)
	if i+1 == len(sorted) {
		return sorted[i]
	}
	return sorted[i] + (sorted[i+1]-sorted[i])*(at-float64(i))
}
