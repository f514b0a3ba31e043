package api

import (
	"context"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/ingest/sample"
	"weald/rules/relief"
	"weald/stream/history"
)

// seatNames are the series that a day on a seat is told from: whether somebody was
// there, and what was counted, by relief.Kind.
var seatNames = []string{"occupied", "relief.shifts", "relief.reliefs", "relief.transfers"}

// listedShifts is how many are told one by one.
const listedShifts = 10

// midnight is when the day of an instant began here.
func midnight(now sample.Instant) sample.Instant {
	t := now.Time().In(time.Local)
	return sample.At(time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.Local))
}

// seatDay tells what has been done on a seat since midnight.
func (s *server) seatDay(ctx context.Context, place int) (*mySeatDayBody, error) {
	now, err := s.instant(ctx, place, time.Time{})
	if err != nil {
		return nil, err
	}
	from := midnight(now - 1)
	q := history.Query{Place: place, Names: seatNames, From: from, To: now, Points: int((now.Sub(from) + time.Minute - 1) / time.Minute)}
	found, err := s.Past(ctx, q)
	if err != nil {
		return nil, huma.Error503ServiceUnavailable("what was kept of today cannot be read: " + err.Error())
	}
	return dayOf(found), nil
}

// dayOf reads a day from its series, in the order of seatNames.
func dayOf(a *history.Answer) *mySeatDayBody {
	d := &mySeatDayBody{From: a.From.Time(), To: a.To.Time(), Last: []seatShift{}}
	known := time.Duration(0)
	there := &a.Series[0]
	for i, share := range there.Mean {
		if share != share {
			continue
		}
		step := min(a.Step, a.To.Sub(max(there.T[i], a.From)))
		known += step
		d.SeatedS += share * step.Seconds()
	}
	d.UnknownS = max(0, (a.To.Sub(a.From) - known).Seconds())
	for k, n := range map[relief.Kind]*int{relief.Shift: &d.Shifts, relief.Relief: &d.Reliefs, relief.Transfer: &d.Outs} {
		for _, at := range grown(&a.Series[k]) {
			*n++
			d.Last = append(d.Last, seatShift{At: at.Time(), Kind: k.String()})
		}
	}
	slices.SortFunc(d.Last, func(a, b seatShift) int { return b.At.Compare(a.At) })
	d.Last = d.Last[:min(len(d.Last), listedShifts)]
	return d
}

// grown returns when a count has gone up, once for each one. One that has fallen was
// begun anew.
func grown(l *history.Line) (at []sample.Instant) {
	const first = -1
	was := float64(first)
	for i, most := range l.Max {
		if most != most {
			continue
		}
		switch {
		case was == first:
			was = l.Min[i]
		case l.Min[i] < was && most >= was:
			was = l.Min[i] // it fell within this step; what has come since is not told from before
			continue
		case l.Min[i] < was:
			was = l.Min[i]
		}
		for ; was < most; was++ {
			at = append(at, l.T[i])
		}
	}
	return at
}
