package rehearsal

import (
	"context"
	"math"
	"slices"
	"time"

	"weald/rules"
	"weald/rules/alert"
	"weald/rules/contrast"
	"weald/rules/field"
)

// FieldSize is how many limits and how many delays a field has by itself.
const FieldSize = 20

// A Field is how often a rule would have raised, by limit and on-delay.
type Field struct {
	Limits []float64       // ascending
	Delays []time.Duration // ascending
	Raised [][]int         // by limit, then by delay
}

// FieldOf counts for every pair, and tells how far it has come, 0 to 1. Its error
// is the context's cause.
func FieldOf(ctx context.Context, v *rules.Varied, t *field.Trace, limits []float64, delays []time.Duration, tell func(float64)) (*Field, error) {
	f := &Field{Limits: limits, Delays: delays}
	var work field.Excursions
	spec := v.Hold(0)
	for i, limit := range limits {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		row := make([]int, len(delays))
		band := v.Band(limit)
		work.Row(t, &band, &spec, delays, row)
		f.Raised = append(f.Raised, row)
		tell(float64(i+1) / float64(len(limits)))
	}
	return f, nil
}

// Beside lays what a rule raises over a trace beside what it would raise with
// another limit and another delay.
func Beside(v *rules.Varied, t *field.Trace, limit float64, delay time.Duration) []contrast.Change {
	return contrast.Compare(episodes(v, t, v.Limit, v.Rule.OnDelay), episodes(v, t, limit, delay))
}

func episodes(v *rules.Varied, t *field.Trace, limit float64, delay time.Duration) (out []contrast.Episode) {
	band, spec := v.Band(limit), v.Hold(delay)
	for _, a := range field.Alerts(t, &band, &spec) {
		out = append(out, contrast.Episode{
			Key:      alert.Key{Rule: v.Rule.ID, Subject: v.Subject},
			Priority: v.Rule.Priority, From: a.From, To: a.To, Stands: a.Stands, Unit: v.Unit,
		})
	}
	return out
}

// ladder are delays that people would ask for.
var ladder = []time.Duration{
	0, 5 * time.Second, 10 * time.Second, 20 * time.Second, 30 * time.Second,
	time.Minute, 2 * time.Minute, 3 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 20 * time.Minute, 30 * time.Minute, 45 * time.Minute,
	time.Hour, 90 * time.Minute, 2 * time.Hour, 3 * time.Hour, 4 * time.Hour, 6 * time.Hour,
}

// Delays returns FieldSize delays, among them the present one.
func Delays(present time.Duration) []time.Duration {
	out := slices.Clone(ladder)
	nearest := 0
	for i, d := range out {
		if (d - present).Abs() < (out[nearest] - present).Abs() {
			nearest = i
		}
	}
	out[nearest] = present // which lies between its neighbours, or at an end
	return out
}

// Limits returns FieldSize limits in steps that people would ask for, which cover
// what the signal did as far as they can, the present limit among them.
func Limits(v *rules.Varied, s *Second) []float64 {
	low, high := min(s.Low, v.Limit), max(s.High, v.Limit)
	if s.Known == 0 {
		low, high = v.Limit, v.Limit
	}
	step := niceStep((high - low) / (FieldSize - 1))
	// The present limit is on the grid, so that what is marked is today's rule.
	below := min(math.Floor((v.Limit-low)/step), FieldSize-1)
	if above := math.Ceil((high - v.Limit) / step); below+above < FieldSize-1 {
		below += math.Floor((FieldSize - 1 - below - above) / 2)
	}
	if !v.Possible(v.Limit - below*step) {
		below = 0
	}
	if v.Limit >= 0 && s.Low >= 0 { // pressures and times are not negative
		below = min(below, math.Floor(v.Limit/step))
	}
	out := make([]float64, FieldSize)
	for i := range out {
		out[i] = round(v.Limit + (float64(i)-below)*step)
	}
	return out
}

// niceStep is the least of 1, 2 and 5 times a power of ten that is not below s.
func niceStep(s float64) float64 {
	if !(s > 0) {
		return 1
	}
	power := math.Pow(10, math.Floor(math.Log10(s)))
	for _, by := range []float64{1, 2, 5} {
		if by*power >= s {
			return by * power
		}
	}
	return 10 * power
}

// round takes off what sums in binary leave behind.
func round(x float64) float64 { return math.Round(x*1e6) / 1e6 }
