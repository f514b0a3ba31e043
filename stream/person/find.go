package person

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/journal"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
	"weald/stream/sessions"
	"weald/stream/tries"
)

// ErrLasts means that a session or a try of the person goes on.
var ErrLasts = errors.New("it has not ended")

// A Stay is a session or a try of a person.
type Stay struct {
	ID, Place string
	Try       bool
	From, To  sample.Instant
	Read      sample.Instant // when the last reading was that may be of it: not after To
}

// String says which it is, such as "session s-1 at bed-4".
func (s *Stay) String() string {
	if s.Try {
		return fmt.Sprintf("try %s at %s", s.ID, s.Place)
	}
	return fmt.Sprintf("session %s at %s", s.ID, s.Place)
}

func (s *Stay) has(place string, at sample.Instant) bool {
	return s.Place == place && at >= s.From && at <= s.To
}

// Stays returns the sessions and the tries of a person.
func Stays(ctx context.Context, log journal.Log, code string) ([]Stay, error) {
	var stays []Stay
	all, err := sessions.Read(ctx, log, "", nil)
	if err != nil {
		return nil, err
	}
	for _, s := range all {
		if s.Code == code {
			read := s.To
			if slices.ContainsFunc(all, func(next sessions.Session) bool { return next.Place == s.Place && next.From == s.To && next.To > s.To }) {
				read = s.To.Add(-1) // what was read just then is of the next one
			}
			stays = append(stays, Stay{ID: s.ID, Place: s.Place, From: s.From, To: s.To, Read: read})
		}
	}
	// Of tries also those whose begin has been lost: tries.All leaves them out.
	for e, err := range journal.Readable(log.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindAttempt}}), nil) {
		if err != nil {
			return nil, err
		}
		step := e.Body.(record.Attempt)
		i := slices.IndexFunc(stays, func(s Stay) bool { return s.Try && s.ID == step.ID })
		switch {
		case i < 0 && step.Code != code:
			continue
		case i < 0:
			i = len(stays)
			stays = append(stays, Stay{ID: step.ID, Place: e.Place, Try: true, From: e.At, To: sample.Never, Read: sample.Never})
		}
		if step.What == tries.Ended || step.What == tries.Left {
			stays[i].To, stays[i].Read = e.At, e.At
		}
	}
	return stays, nil
}

// Ended returns an error that wraps ErrLasts if one of some stays goes on.
func Ended(stays []Stay) error {
	var errs []error
	for i := range stays {
		if stays[i].To == sample.Never {
			errs = append(errs, fmt.Errorf("%v: %w", &stays[i], ErrLasts))
		}
	}
	return errors.Join(errs...)
}

// blanks are the readings of a place during a stay, by a plan.
func blanks(plan *rules.Plan, s *Stay) (all []sqlite.Blank) {
	for i := range plan.Places {
		p := &plan.Places[i]
		if p.ID != s.Place {
			continue
		}
		for source := range plan.Sources {
			if !p.Uses(source) {
				continue
			}
			b := sqlite.Blank{Source: plan.Sources[source].ID, From: s.From, To: s.Read}
			if p.Mat == nil || p.Mat.Source != source {
				for _, site := range p.Sites {
					for _, c := range site.Channels {
						if c.Source == source {
							b.Channels = append(b.Channels, c.Index)
						}
					}
				}
			}
			all = append(all, b)
		}
	}
	return all
}

// Named counts the entries that name a code, by kind.
func Named(ctx context.Context, log journal.Log, code string) (map[record.Kind]int, error) {
	found := map[record.Kind]int{}
	w := word{code: code}
	for e, err := range journal.Readable(log.Entries(ctx, journal.Query{}), nil) {
		if err != nil {
			return nil, err
		}
		b, err := e.JSON()
		if err != nil {
			return nil, err
		}
		if s, ok := e.Body.(record.State); ok {
			b = s.Body
		}
		if w.in(b) {
			found[e.Body.Kind()]++
		}
	}
	return found, nil
}
