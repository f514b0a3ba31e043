package keeper_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/keeper"
	"weald/stream/pipeline"
	"weald/stream/record"
)

// A mute journal is one whose servers take calls, and may keep them, and do not say so. A call that
// is made again is the same one.
type mute struct {
	journal.Journal
	is      atomic.Bool // silent
	keeps   bool
	refuses bool                       // what they were not given before, as where it is known that they are silent
	kept    map[string]record.Position // calls in doubt, and where they are; 0 for nowhere
	entries bool                       // it is entries alone about which they are silent
	answers func()                     // called when one is answered; nil for nothing
}

func (m *mute) Append(ctx context.Context, entries ...record.Entry) (p record.Position, err error) {
	id := fmt.Sprint(entries)
	p, again := m.kept[id]
	if m.is.Load() && m.refuses && !again {
		return 0, fmt.Errorf("%w: %w", journal.ErrUnreached, journal.ErrUnchanged)
	}
	if p == 0 && (m.keeps || !m.is.Load()) {
		p, err = m.Journal.Append(ctx, entries...)
	}
	if m.is.Load() {
		m.kept[id] = p
		<-ctx.Done()
		return 0, context.Cause(ctx)
	}
	delete(m.kept, id)
	if m.answers != nil {
		m.answers()
	}
	return p, err
}

func (m *mute) AppendReadings(ctx context.Context, blocks []record.Block, ticks []record.Tick) (err error) {
	if m.keeps || !m.is.Load() || m.entries {
		err = m.Journal.AppendReadings(ctx, blocks, ticks)
	}
	if !m.is.Load() || m.entries {
		return err
	}
	<-ctx.Done()
	return context.Cause(ctx)
}

func (m *mute) PutSnapshot(ctx context.Context, s record.Snapshot) error {
	if !m.is.Load() || m.entries {
		return m.Journal.PutSnapshot(ctx, s)
	}
	<-ctx.Done()
	return context.Cause(ctx)
}

// silent has a test run with a keeper over servers that fall silent, whether they keep what they are
// given then or not.
func silent(t *testing.T, test func(t *testing.T, m *mute, k *keeper.Keeper, places int)) {
	for _, keeps := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			m := &mute{Journal: new(journaltest.Memory), keeps: keeps, kept: map[string]record.Position{}}
			if _, err := m.Append(t.Context(), record.Entry{Body: record.NewConfig(1, "one")}); err != nil {
				t.Fatal(err)
			}
			k, plan := wardKeeper(t, m, wallClock)
			k.Within = 10 * time.Second
			m.is.Store(true)
			test(t, m, k, len(plan.Places))
		})
	}
}

// inputs are those of the record that people brought, and configurations, in their order.
func inputs(t *testing.T, j journal.Log) (out []string) {
	for _, e := range journaltest.Gather(t, j.Entries(t.Context(), journal.Query{})) {
		switch b := e.Body.(type) {
		case record.Action:
			out = append(out, fmt.Sprintf("%d %s by %s", e.Ord, b.What, e.Author))
		case record.Config:
			out = append(out, fmt.Sprintf("%d %s as %d, undoes %d", e.Ord, b.Text, b.Version, b.Undoes))
		}
	}
	return out
}

// What a person did of which servers do not say whether they keep it is done, and is in the record
// once, before all that comes after it: left undone, it would be done by whoever judges the record
// again. While that waits, nothing else is done, or sent.
func TestADeedInDoubtIsDone(t *testing.T) {
	silent(t, func(t *testing.T, m *mute, k *keeper.Keeper, _ int) {
		key := alert.Key{Place: "bed-4", Rule: "turn-due", Subject: "bed"}
		began := time.Now()
		err := k.Act(1, key, alert.Action{Verb: alert.Acknowledge, Who: "K-07"})
		if !errors.Is(err, pipeline.ErrWaits) || !errors.Is(err, journal.ErrUnreached) || time.Since(began) != k.Within {
			t.Errorf("after %v it is answered with %v", time.Since(began), err)
		}
		began = time.Now()
		if err := k.Act(2, key, alert.Action{Verb: alert.TakeOut, Who: "K-08"}); !errors.Is(err, journal.ErrUnchanged) || errors.Is(err, pipeline.ErrWaits) || time.Since(began) > 0 {
			t.Errorf("the next is answered after %v with %v", time.Since(began), err)
		}
		m.is.Store(false)
		if err := k.Flush(t.Context()); err != nil {
			t.Fatal(err)
		}
		if err := k.Act(3, key, alert.Action{Verb: alert.TakeBack, Who: "K-09"}); err != nil {
			t.Error(err)
		}
		if got := strings.Join(inputs(t, m)[1:], "; "); got != "1 acknowledge by K-07; 3 in-service by K-09" {
			t.Errorf("the record has %s", got)
		}
	})
}

// A configuration of which servers do not say whether they keep it does not come into force, after
// Within, and judging goes on by the former one, behind the ordinals that it took: the record has it
// and that it was undone, before anything else, and nothing that was judged by it.
func TestAReloadInDoubt(t *testing.T) {
	silent(t, func(t *testing.T, m *mute, k *keeper.Keeper, places int) {
		began := time.Now()
		reload := func(ord uint64, text string) (uint64, error) {
			return k.HandOver(t.Context(), ord, places, func(_ int, b []byte) []byte { return append(b, 1) }, text, "K-07")
		}
		took, err := reload(0, "another")
		if took != 2 || !errors.Is(err, journal.ErrUnreached) || errors.Is(err, journal.ErrLater) || time.Since(began) != k.Within {
			t.Errorf("after %v it takes %d, with %v", time.Since(began), took, err)
		}
		if took, err := reload(took, "third"); took != 0 || !errors.Is(err, journal.ErrUnreached) {
			t.Errorf("the next takes %d, with %v", took, err)
		}
		m.is.Store(false)
		if err := k.Flush(t.Context()); err != nil {
			t.Fatal(err)
		}
		if got := strings.Join(inputs(t, m), "; "); got != "0 one as 1, undoes 0; 1 another as 2, undoes 0; 2 one as 3, undoes 2" {
			t.Errorf("the record has %s", got)
		}
		if all, err := keeper.Reigns(t.Context(), m, nil); err != nil || len(all) != 1 || all[0].Body.(record.Config).Text != "one" {
			t.Errorf("something was judged by %v, %v", all, err)
		}
		if took, err := reload(took, "third"); took != 1 || err != nil {
			t.Errorf("servers answer, and it takes %d, with %v", took, err)
		}
	})
}

// In a ward where nothing comes, that the record was out of reach once refuses nobody for ever.
func TestSilenceIsForgottenWhereNothingWaits(t *testing.T) {
	silent(t, func(t *testing.T, m *mute, k *keeper.Keeper, places int) {
		if err := k.Snapshot(t.Context(), func(_ context.Context, f func(uint64, int, func(int, []byte) []byte)) error {
			f(1, places, func(_ int, b []byte) []byte { return append(b, 1) })
			return nil
		}); !errors.Is(err, journal.ErrUnreached) {
			t.Fatal(err)
		}
		if _, err := k.Mark(2, 0, pipeline.Mark{Word: "turned", Author: "K-07"}); !errors.Is(err, journal.ErrUnchanged) {
			t.Errorf("it is known that they do not answer, and a mark is answered with %v", err)
		}
		m.is.Store(false)
		ctx, stop := context.WithCancel(t.Context())
		go func() {
			_ = k.Run(ctx, func(context.Context, func(uint64, int, func(int, []byte) []byte)) error { return nil })
		}()
		time.Sleep(3 * time.Second)
		if _, err := k.Mark(2, 0, pipeline.Mark{Word: "turned", Author: "K-07"}); err != nil {
			t.Errorf("servers answer, and a mark is refused: %v", err)
		}
		stop()
	})
}

// As of when all was kept at least is known from the first call that was in vain on, and is not later
// than what was not kept; when all is kept again nothing is said of it.
func TestSinceWhenNothingIsKept(t *testing.T) {
	silent(t, func(t *testing.T, m *mute, k *keeper.Keeper, _ int) {
		began := sample.At(time.Now())
		if got := k.Condition().Kept; got != sample.Never {
			t.Errorf("before anything it is %v", got)
		}
		_ = k.Act(1, alert.Key{Place: "bed-4", Rule: "turn-due", Subject: "bed"}, alert.Action{Verb: alert.Acknowledge, Who: "K-07"})
		ctx, stop := context.WithCancel(t.Context())
		go func() {
			_ = k.Run(ctx, func(context.Context, func(uint64, int, func(int, []byte) []byte)) error { return nil })
		}()
		for range 4 {
			if got := k.Condition().Kept; got > began {
				t.Errorf("what was done at %v is not kept, and it is said that all was at %v", began, got)
			}
			time.Sleep(10 * time.Second)
		}
		m.is.Store(false)
		time.Sleep(12 * time.Second)
		if got := k.Condition().Kept; got != sample.Never {
			t.Errorf("all is kept, and it is %v", got)
		}
		stop()
	})
}

// What waited and is kept in the moment in which the daemon ends is kept once: given again after its
// answer it would be another call.
func TestWhatIsKeptAtTheEndIsKeptOnce(t *testing.T) {
	silent(t, func(t *testing.T, m *mute, k *keeper.Keeper, _ int) {
		key := alert.Key{Place: "bed-4", Rule: "turn-due", Subject: "bed"}
		if _, err := k.Commit(2, []alert.Event{{Key: key, What: alert.Raised, At: 1}}, func(string) []byte { return nil }); err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		m.is.Store(false)
		m.answers = stop
		_ = k.Flush(ctx)
		if err := k.Flush(t.Context()); err != nil { // as the end does
			t.Error(err)
		}
		if all := journaltest.Gather(t, m.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindTransition}})); len(all) != 1 {
			t.Errorf("the alert is kept %d times", len(all))
		}
	})
}
