package paper

import (
	"math"
	"strconv"
	"time"

	"weald/ingest/sample"
)

// An Axis is one side of a drawing.
type Axis struct {
	Low, High float64
	Name      string
	ticks     []tick
}

type tick struct {
	at   float64
	text string
}

// Numbers is an axis of numbers from low to high, which must be less.
func Numbers(name string, low, high float64) Axis {
	a := Axis{Low: low, High: high, Name: name}
	step := math.Pow(10, math.Floor(math.Log10(a.span()/5)))
	for _, m := range []float64{1, 2, 5, 10} {
		if a.span()/(step*m) <= 6 {
			step *= m
			break
		}
	}
	for v := math.Ceil(low/step) * step; v <= high+step/1e6; v += step {
		at := math.Round(v/step)*step + 0 // + 0 makes 0 of -0
		a.ticks = append(a.ticks, tick{at, Number(at)})
	}
	return a
}

func (a *Axis) span() float64 { return a.High - a.Low }

// Number has four digits that matter, no exponent in the range of counts, and no minus at 0.
func Number(v float64) string {
	v += 0 // 0 of -0
	if a := math.Abs(v); a >= 1000 && a < 1e9 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return strconv.FormatFloat(v, 'g', 4, 64)
}

// mostTicks is how many times there are along an axis at most.
const mostTicks = 9

// Hours is an axis of time, in seconds since from, with the times of a zone on it.
func Hours(from, to sample.Instant, zone *time.Location) Axis {
	a := Axis{High: max(to.Sub(from).Seconds(), 1)}
	begin, end := from.Time().In(zone), to.Time().In(zone)
	midnight := time.Date(begin.Year(), begin.Month(), begin.Day(), 0, 0, 0, 0, zone)
	add := func(t time.Time, layout string) {
		if !t.Before(begin) && t.Before(end) {
			a.ticks = append(a.ticks, tick{t.Sub(begin).Seconds(), t.Format(layout)})
		}
	}
	const day = 24 * time.Hour
	for _, step := range []time.Duration{time.Second, 5 * time.Second, 15 * time.Second, time.Minute, 5 * time.Minute, 15 * time.Minute,
		30 * time.Minute, time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour} {
		if end.Sub(begin) > mostTicks*step {
			continue
		}
		first := begin.Sub(midnight) / step
		for k := first; midnight.Add(k * step).Before(end); k++ {
			layout := "15:04"
			if step < time.Minute {
				layout = "15:04:05"
			}
			if k*step%day == 0 && end.Sub(begin) > day {
				layout = "2 Jan"
			}
			add(midnight.Add(k*step), layout)
		}
		return a
	}
	days := int(math.Ceil(end.Sub(begin).Hours() / 24 / mostTicks))
	for k := 0; midnight.AddDate(0, 0, k).Before(end); k += days {
		add(midnight.AddDate(0, 0, k), "2 Jan")
	}
	return a
}
