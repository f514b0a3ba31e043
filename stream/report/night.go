package report

import (
	"context"
	"fmt"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/report/paper"
	"weald/stream/sessions"
)

// The hours of a night, where nobody says otherwise: common practice, no source.
const nightBegins, nightEnds = 20, 8

// longestNight is how much a report of a night covers at most.
const longestNight = 48 * time.Hour

// nightOf returns the bounds of the night that began on the day of t in its zone.
func nightOf(t time.Time) (from, to sample.Instant) {
	at := func(day, hour int) sample.Instant {
		return sample.At(time.Date(t.Year(), t.Month(), t.Day()+day, hour, 0, 0, 0, t.Location()))
	}
	return at(0, nightBegins), at(1, nightEnds)
}

// LastNight returns the bounds of the night that is, or of the last one that was.
func LastNight(now time.Time) (from, to sample.Instant) {
	if from, to = nightOf(now); sample.At(now) < from {
		return nightOf(now.AddDate(0, 0, -1))
	}
	return from, to
}

// Night is the report of a bed from one instant to another. Where from is Past it is
// the last night of the record, as far as the record goes.
func (s *Source) Night(ctx context.Context, place string, from, to sample.Instant) (*paper.Document, error) {
	switch {
	case from == sample.Past:
		end, err := s.end(ctx)
		if err != nil {
			return nil, err
		}
		from, to = LastNight(end.Time().In(s.Zone))
		to = min(to, end)
	case from >= to:
		return nil, asked("the night would end before it begins")
	case to.Sub(from) > longestNight:
		return nil, asked("a night of more than %v", longestNight)
	}
	x, err := s.open(ctx, place, from, to)
	if err != nil {
		return nil, err
	}
	if x.place.Kind != rules.Bed {
		return nil, asked("place %q is a %s: only a bed has nights", place, x.place.Kind)
	}
	times := s.times()
	d := &paper.Document{Title: fmt.Sprintf("Night in %s, %s", place, times.Day(from)), Program: s.Program}
	who, err := x.who()
	if err != nil {
		return nil, err
	}
	d.Facts = []paper.Fact{
		{Name: "bed", Value: place}, {Name: "person", Value: who}, {Name: "from", Value: times.Full(from)}, {Name: "to", Value: times.Full(to)},
	}
	return d, x.account(d)
}

// who is whose stretch it was, by the sessions that were going on.
func (x *stretch) who() (string, error) {
	all, err := sessions.Read(x.ctx, x.Journal, x.place.ID, x.lose)
	if err != nil {
		return "", err
	}
	var codes []string
	for i := range all {
		if s := &all[i]; s.From < x.to && s.To > x.from {
			codes = append(codes, s.Code)
		}
	}
	if len(codes) == 0 {
		return "no session", nil
	}
	return strings.Join(codes, ", "), nil
}
