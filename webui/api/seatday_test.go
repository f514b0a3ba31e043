package api

import (
	"fmt"
	"math"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/history"
)

// A morning in steps of ten minutes: an hour unknown, then seated with one break, and
// counts that begin anew when the daemon lost them.
func TestADayOnASeat(t *testing.T) {
	from := sample.At(time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC))
	const step = 10 * time.Minute
	a := &history.Answer{From: from, To: from.Add(12 * step), Step: step}
	nan := math.NaN()
	line := func(least, mean, most []float64) history.Line {
		l := history.Line{Min: least, Mean: mean, Max: most}
		for i := range mean {
			l.T = append(l.T, from.Add(time.Duration(i)*step))
		}
		return l
	}
	flat := func(v ...float64) history.Line { return line(v, v, v) }
	a.Series = []history.Line{
		flat(nan, nan, nan, nan, nan, nan, 1, 1, 0.5, 0, 1, 1),
		line([]float64{nan, nan, nan, nan, nan, nan, 3, 4, 5, 5, 0, 1}, make([]float64, 12), []float64{nan, nan, nan, nan, nan, nan, 4, 5, 5, 5, 1, 2}),
		flat(nan, nan, nan, nan, nan, nan, 7, 7, 7, 7, 0, 0),
		flat(nan, nan, nan, nan, nan, nan, 0, 0, 0, 1, 0, 0),
	}
	d := dayOf(a)
	if d.SeatedS != 4.5*600 || d.UnknownS != 6*600 {
		t.Errorf("seated for %v s, unknown for %v s", d.SeatedS, d.UnknownS)
	}
	if d.Shifts != 4 || d.Reliefs != 0 || d.Outs != 1 {
		t.Errorf("%d shifts, %d reliefs, %d transfers; want 4, 0, 1", d.Shifts, d.Reliefs, d.Outs)
	}
	got := ""
	for _, s := range d.Last {
		got += fmt.Sprint(s.At.Format(" 15:04 "), s.Kind)
	}
	if want := " 09:50 shift 09:40 shift 09:30 transfer 09:10 shift 09:00 shift"; got != want {
		t.Errorf("%s, want%s", got, want)
	}
}
