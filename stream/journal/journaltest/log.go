package journaltest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/record"
)

// every is one entry of each kind.
func every() []record.Entry {
	var all []record.Entry
	for i, body := range []record.Body{
		record.Transition{Event: alert.Event{At: Noon, Key: alert.Key{Place: "bench-1", Rule: "r", Subject: "ankle"}, What: alert.Raised, Priority: alert.High, Value: 61.5, U: 2, Limit: 60}},
		record.Action{What: "shelve", Subject: "bench-1~r~ankle", Reason: "dressing", Until: Noon + 1e12},
		record.Mark{What: "turned", Text: "to the left"},
		record.Session{ID: "s-1", What: "begun", Code: "K-07", Config: 1},
		record.NewConfig(1, "data: record\n"),
		record.Fault{Subject: "bridge trolley", Text: "no such port"},
	} {
		all = append(all, record.Entry{At: Noon + sample.Instant(i)*1e9, Written: Noon + 5e9, Place: []string{"bench-1", "bed-4", ""}[i%3], Body: body})
	}
	return all
}

func testEntries(t *testing.T, maker Maker) {
	open := maker(t)
	j := open()
	for i := range 3 {
		if p := add(t, j, every()...); p != record.Position(6*(i+1)) {
			t.Fatalf("position %d after %d entries", p, 6*(i+1))
		}
	}
	twice(t, j, open, func(t *testing.T, j journal.Journal) {
		all := Gather(t, j.Entries(t.Context(), journal.Query{}))
		if len(all) != 18 {
			t.Fatalf("%d entries, want 18", len(all))
		}
		for i, e := range all {
			want := every()[i%6]
			want.Position = record.Position(i + 1)
			if diff := cmp.Diff(want, e, same); diff != "" {
				t.Errorf("entry %d came back changed:\n%s", i, diff)
			}
		}
		for _, q := range []journal.Query{
			{From: 5}, {Last: 5}, {From: 7, Last: 8}, {From: 19}, {Newest: true}, {Newest: true, From: 4, Last: 9},
			{Kinds: []record.Kind{record.KindMark}}, {Kinds: []record.Kind{record.KindMark, record.KindFault}, Newest: true},
			{Place: "bed-4"}, {Place: "nowhere"}, {Since: Noon + 2e9}, {Until: Noon + 2e9}, {Since: Noon + 1e9, Until: Noon + 3e9, Place: "bench-1"},
		} {
			var want []record.Entry
			for _, e := range all {
				if q.Takes(&e) {
					want = append(want, e)
				}
			}
			if q.Newest {
				slices.Reverse(want)
			}
			if diff := cmp.Diff(want, Gather(t, j.Entries(t.Context(), q)), same); diff != "" {
				t.Errorf("%+v:\n%s", q, diff)
			}
		}
		n := 0
		for range j.Entries(t.Context(), journal.Query{}) {
			if n++; n == 3 {
				break
			}
		}
		if h, err := j.Head(t.Context()); err != nil || h.Position != 18 {
			t.Errorf("head %+v, %v", h, err)
		}
	})
}

// Many write at once; every one of them gets a position of its own, and finds
// there what it wrote.
func testEntriesAtOnce(t *testing.T, maker Maker) {
	j := opened(t, maker)
	const writers, each = 16, 20
	var mu sync.Mutex
	wrote := map[record.Position]string{}
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			for i := range each {
				text := fmt.Sprintf("%d/%d", w, i)
				p, err := j.Append(t.Context(), Mark("before "+text), Mark(text))
				if err != nil {
					t.Error(err)
					return
				}
				mu.Lock()
				if wrote[p] != "" || wrote[p-1] != "" {
					t.Errorf("position %d was given twice", p)
				}
				wrote[p], wrote[p-1] = text, "before "+text
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	all := Gather(t, j.Entries(t.Context(), journal.Query{}))
	if len(all) != 2*writers*each {
		t.Fatalf("%d entries, want %d", len(all), 2*writers*each)
	}
	for i, e := range all {
		if want := wrote[record.Position(i+1)]; e.Position != record.Position(i+1) || e.Body.(record.Mark).Text != want {
			t.Fatalf("entry %d says %+v, want %q", i+1, e, want)
		}
	}
	Sound(t, j)
}

// A call with one bad entry keeps none of its entries, and takes none of
// anybody else's with it.
func testAllOrNone(t *testing.T, maker Maker) {
	j := opened(t, maker)
	add(t, j, Act(10))
	for name, c := range map[string]struct {
		bad  record.Entry
		want error
	}{
		"no body":       {record.Entry{}, record.ErrInvalid},
		"no text":       {Mark("\xff"), record.ErrInvalid},
		"too great":     {Act(1 << 63), record.ErrInvalid},
		"the same":      {Act(10), journal.ErrOrder},
		"backwards":     {Act(9), journal.ErrOrder},
		"within a call": {Act(50), journal.ErrOrder}, // after 60
	} {
		var wg sync.WaitGroup
		for i := range 8 {
			wg.Go(func() {
				if i%2 == 0 {
					if _, err := j.Append(t.Context(), Mark("good")); err != nil {
						t.Errorf("%s: a good entry beside a bad one: %v", name, err)
					}
					return
				}
				first := Mark("in bad company")
				if name == "within a call" {
					first = Act(60)
				}
				_, err := j.Append(t.Context(), first, c.bad)
				wantErr(t, name, err, c.want)
			})
		}
		wg.Wait()
	}
	all := Gather(t, j.Entries(t.Context(), journal.Query{}))
	if len(all) != 1+6*4 {
		t.Errorf("%d entries, want the first and 24 good ones", len(all))
	}
	for i, e := range all {
		if m, ok := e.Body.(record.Mark); ok && m.Text != "good" || e.Position != record.Position(i+1) {
			t.Errorf("%+v was kept at %d", e, i+1)
		}
	}
	_, err := j.Append(ended(), Mark("too late"))
	wantErr(t, "a context that has ended", err, context.Canceled)
	if p := add(t, j); p != record.Position(len(all)) {
		t.Errorf("nothing at all moved the head to %d", p)
	}
	Sound(t, j)
}

func testWait(t *testing.T, maker Maker) {
	j := opened(t, maker)
	add(t, j, Mark("one"))
	if err := j.Wait(t.Context(), 0); err != nil {
		t.Errorf("waiting for what is there: %v", err)
	}
	ctx, end := context.WithTimeoutCause(t.Context(), time.Millisecond, errors.New("patience"))
	defer end()
	if err := j.Wait(ctx, 1); err == nil || err.Error() != "patience" {
		t.Errorf("waiting for what never comes: %v", err)
	}

	// A follower sees every entry, in order, once.
	const n = 50
	got := []record.Position{}
	done := beside(func() error {
		for at := record.Position(0); at < n; {
			if err := j.Wait(t.Context(), at); err != nil {
				return err
			}
			for e, err := range j.Entries(t.Context(), journal.Query{From: at + 1}) {
				if err != nil {
					return err
				}
				got, at = append(got, e.Position), e.Position
			}
		}
		return nil
	})
	for range n - 1 {
		add(t, j, Mark("more"))
	}
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	for i, p := range got {
		if p != record.Position(i+1) {
			t.Fatalf("a follower saw %v", got)
		}
	}
	done = beside(func() error { return j.Wait(context.Background(), n) })
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	wantErr(t, "waiting when the record is closed", <-done, journal.ErrClosed)
}

// beside runs f beside and returns where its error comes.
func beside(f func() error) chan error {
	done := make(chan error, 1)
	go func() { done <- f() }()
	return done
}

func testClosed(t *testing.T, maker Maker) {
	j := opened(t, maker)
	add(t, j, Mark("one"))
	for range 2 {
		if err := j.Close(); err != nil {
			t.Fatalf("closing: %v", err)
		}
	}
	ctx := t.Context()
	_, err := j.Append(ctx, Mark("two"))
	wantErr(t, "Append", err, journal.ErrClosed)
	wantErr(t, "AppendReadings", j.AppendReadings(ctx, []record.Block{Block("a/b", 1, 1, 1, Noon)}, nil), journal.ErrClosed)
	wantErr(t, "PutSnapshot", j.PutSnapshot(ctx, record.Snapshot{}), journal.ErrClosed)
	_, err = j.PutDocument(ctx, record.Document{Name: "n", Body: []byte{}})
	wantErr(t, "PutDocument", err, journal.ErrClosed)
	wantErr(t, "PutHistory", j.PutHistory(ctx, record.Stretch{Tier: record.Second, Points: []record.Point{{}}}), journal.ErrClosed)
	_, err = j.Head(ctx)
	wantErr(t, "Head", err, journal.ErrClosed)
	wantErr(t, "Wait", j.Wait(ctx, 0), journal.ErrClosed)
	_, err = j.Snapshot(ctx, 9)
	wantErr(t, "Snapshot", err, journal.ErrClosed)
	_, err = j.Document(ctx, "n", 0)
	wantErr(t, "Document", err, journal.ErrClosed)
	_, err = j.History(ctx, "p", "s", record.Second, 0, 1, nil)
	wantErr(t, "History", err, journal.ErrClosed)
	_, _, err = j.Span(ctx, 0, 1)
	wantErr(t, "Span", err, journal.ErrClosed)
	for _, err := range j.Entries(ctx, journal.Query{}) {
		wantErr(t, "Entries", err, journal.ErrClosed)
	}
	for _, err := range j.Inputs(ctx, 0, 1) {
		wantErr(t, "Inputs", err, journal.ErrClosed)
	}
	for _, err := range j.Readings(ctx, "a/b", 0, 1) {
		wantErr(t, "Readings", err, journal.ErrClosed)
	}
	for _, err := range j.Documents(ctx, "") {
		wantErr(t, "Documents", err, journal.ErrClosed)
	}
	for _, err := range j.Check(ctx) {
		wantErr(t, "Check", err, journal.ErrClosed)
	}
}
