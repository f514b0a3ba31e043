package archive

import (
	"context"
	"errors"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/history"
	"weald/stream/journal"
	"weald/stream/keeper"
	"weald/stream/pipeline"
	"weald/stream/record"
)

// recoverSpan is how far back readings are judged again: what a crash can have
// cost, and some more, so that values which began before it are known.
const recoverSpan = 3 * every

// Recover mends what a crash left undone: seconds that were not kept are made of
// the readings, and the hour is summed up. last is the newest instant in the
// record, series are those that places have; without a record, or after a clean
// stop, there is nothing to do. It is slower the more readings a minute brings.
func Recover(ctx context.Context, j journal.Journal, plan *rules.Plan, reviver *keeper.Reviver,
	series func(place int) []pipeline.Series, last sample.Instant) error {
	if last == sample.Past {
		return nil
	}
	from := last.Add(-recoverSpan)
	memory, err := judgeAgain(ctx, j, plan, reviver, from, last+1)
	if err != nil {
		return err
	}
	for i := range plan.Places {
		place := plan.Places[i].ID
		var out []record.Stretch
		for k, s := range memory.Series(i) {
			more, err := missing(ctx, j, memory, i, k, place, s.Name, from)
			if err != nil {
				return err
			}
			out = append(out, more...)
		}
		if err := j.PutHistory(ctx, out...); err != nil {
			return err
		}
		out = nil
		for _, s := range series(i) {
			for h := floor(from, hour); h <= last; h += hour {
				more, err := rollUp(ctx, j, place, s.Name, h)
				if err != nil {
					return err
				}
				out = append(out, more...)
			}
		}
		if err := j.PutHistory(ctx, out...); err != nil {
			return err
		}
	}
	return nil
}

// missing returns the seconds that the memory has and the journal has not.
func missing(ctx context.Context, j journal.History, memory *history.Store, i, k int, place, name string, from sample.Instant) ([]record.Stretch, error) {
	points, _ := memory.Seconds(i, k, from, nil)
	points = memory.Tail(i, k, sample.Past, points)
	if len(points) == 0 {
		return nil, nil
	}
	was, err := kept(ctx, j, place, name, record.Second, points[0].At, points[len(points)-1].At+1, nil)
	if err != nil {
		return nil, err
	}
	points = slices.DeleteFunc(points, func(p record.Point) bool {
		_, there := slices.BinarySearchFunc(was, p.At, record.Point.Compare)
		return there
	})
	if len(points) == 0 {
		return nil, nil
	}
	return []record.Stretch{{Place: place, Series: name, Tier: record.Second, Points: points}}, nil
}

// judgeAgain gives the readings of a stretch of time to an engine without rules
// and returns what the signals did.
func judgeAgain(ctx context.Context, j keeper.Kept, plan *rules.Plan, reviver *keeper.Reviver, from, to sample.Instant) (*history.Store, error) {
	bare := &rules.Plan{Sources: plan.Sources, Places: plan.Places}
	s := &signals{}
	s.engine = rules.NewEngine(bare, s)
	s.memory = history.New(len(plan.Places), func(place int) (all []pipeline.Series) {
		lasts := time.Duration(0)
		for i := range plan.Sources {
			if plan.Places[place].Uses(i) {
				lasts = max(lasts, plan.Sources[i].StaleAfter)
			}
		}
		for _, sig := range s.engine.Signals(place) {
			all = append(all, pipeline.Series{Name: sig.Name, Unit: sig.Unit, Lasts: lasts})
		}
		return all
	})
	first, last, err := j.Span(ctx, from, to)
	if errors.Is(err, journal.ErrNotFound) {
		return s.memory, nil
	}
	if err != nil {
		return nil, err
	}
	_, err = keeper.Feed(ctx, j, bare, reviver, first, last, s.engine)
	return s.memory, err
}

// signals are those of an engine, on their way into a memory.
type signals struct {
	engine *rules.Engine
	memory *history.Store
}

// Updated implements rules.Sink.
func (s *signals) Updated(place int, at sample.Instant) {
	s.memory.Updated(&pipeline.Update{Place: place, At: at, Now: at, Signals: s.engine.Signals(place)})
}

// Alert implements rules.Sink; there are no rules.
func (*signals) Alert(alert.Event) {}

// Late implements rules.Sink.
func (*signals) Late(int, *sample.Scan) {}
