package audit

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

var noon = sample.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))

// A lair is a record that somebody has been at: its bodies, in any order.
type lair struct {
	journal.Log
	bodies []journal.Body
}

func (l *lair) Bodies(context.Context) iter.Seq2[journal.Body, error] {
	return func(yield func(journal.Body, error) bool) {
		for _, b := range l.bodies {
			if !yield(b, nil) {
				return
			}
		}
	}
}

func (l *lair) Entries(_ context.Context, q journal.Query) iter.Seq2[record.Entry, error] {
	return func(yield func(record.Entry, error) bool) {
		for _, b := range l.bodies {
			if e, err := record.DecodeEntry(b.Bytes); err == nil && q.Takes(&e) && !yield(e, nil) {
				return
			}
		}
	}
}

// open copies a record for somebody to be at it.
func open(t interface{ Fatal(...any) }, j journal.Chained) *lair {
	l := &lair{Log: j}
	for b, err := range j.Bodies(context.Background()) {
		if err != nil {
			t.Fatal(err)
		}
		l.bodies = append(l.bodies, journal.Body{Position: b.Position, Bytes: slices.Clone(b.Bytes)})
	}
	return l
}

// rewrite exchanges what lies at an index, with a checksum that is right.
func (l *lair) rewrite(t interface{ Fatal(...any) }, i int, change func(*record.Entry)) {
	e, err := record.DecodeEntry(l.bodies[i].Bytes)
	if err != nil {
		t.Fatal(err)
	}
	change(&e)
	b, err := e.Append(nil)
	if err != nil {
		t.Fatal(err)
	}
	l.bodies[i] = journal.Body{Position: e.Position, Bytes: b}
}

func verify(t interface{ Fatal(...any) }, j journal.Chained, heads ...record.Link) Report {
	r, err := Verify(context.Background(), j, heads...)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func act(i int, who string) record.Entry {
	at := noon + sample.Instant(i)*1e9
	return record.Entry{At: at, Written: at, Place: "bed-4", Author: who, Body: record.Action{What: "acknowledge", Subject: "bed-4~turn-due~bed", Reason: fmt.Sprint("round ", i)}}
}

func raised(i int) record.Entry {
	at := noon + sample.Instant(i)*1e9
	return record.Entry{At: at, Written: at, Place: "bed-4", Body: record.Transition{Event: alert.Event{At: at, Key: alert.Key{Place: "bed-4", Rule: "turn-due", Subject: "bed"}, What: alert.Raised, Text: "turn"}}}
}

func fault(i int) record.Entry {
	return record.Entry{At: noon, Written: noon, Body: record.Fault{Subject: "bridge trolley", Text: fmt.Sprint(i)}}
}

// written is a record of a day: what people did, what the rules said, looks, faults.
func written(t interface{ Fatal(...any) }, draws func(name string, most int) int) *journaltest.Memory {
	m := new(journaltest.Memory)
	j := Over(m)
	ctx := context.Background()
	for i := range 3 + draws("calls", 12) {
		var err error
		switch draws("what", 3) {
		case 0:
			_, err = j.Append(ctx, act(i, "N-4"))
		case 1:
			_, err = j.Append(ctx, raised(i), raised(i+1), record.Entry{Ord: uint64(i + 1), At: noon, Written: noon, Body: record.State{Body: []byte("state")}})
		case 2:
			_, err = j.Append(ctx, fault(i))
		default:
			err = Note(ctx, j, record.Deed{Written: noon, What: Viewed, Who: "127.0.0.1", Place: "bed-4"})
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if _, err := j.Append(ctx, act(99, "N-5")); err != nil {
		t.Fatal(err)
	}
	return m
}

// What nobody has been at verifies, and has every act and every change of an alert.
// Whatever somebody does to one of its entries shows, other than to those of which
// nobody is the author; what is cut off the end shows to who has noted a link.
func TestEverythingThatIsDoneToARecordShows(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := written(rt, func(name string, most int) int { return rapid.IntRange(0, most).Draw(rt, name) })
		whole := verify(rt, m)
		if len(whole.Findings) > 0 || whole.First.Number != 1 || whole.Covered == 0 {
			rt.Fatalf("what nobody has been at: %+v", whole)
		}
		if again := verify(rt, m, whole.Last, whole.First); len(again.Findings) > 0 {
			rt.Fatalf("by its own links: %+v", again)
		}
		l := open(rt, m)
		n := len(l.bodies)
		i := rapid.IntRange(0, n-1).Draw(rt, "at")
		e, err := record.DecodeEntry(l.bodies[i].Bytes)
		if err != nil {
			rt.Fatal(err)
		}
		var heads []record.Link
		link, isLink := e.Body.(record.Audit)
		guarded := isLink || covered[e.Body.Kind()] || e.Body.Kind() == record.KindState // which comes with changes
		what := rapid.SampledFrom([]string{"edit", "remove", "swap", "insert", "cut", "blank", "flip", "void"}).Draw(rt, "what")
		switch what {
		case "edit":
			l.rewrite(rt, i, func(e *record.Entry) { e.At++ })
		case "remove":
			l.bodies = slices.Delete(l.bodies, i, i+1)
			guarded = guarded || e.Position > whole.From
			if i == n-1 {
				heads = append(heads, whole.Last)
			}
		case "swap": // with the next, each in the place of the other
			if i == n-1 {
				return
			}
			p := e.Position
			l.rewrite(rt, i, func(e *record.Entry) { e.Position = p + 1 })
			l.rewrite(rt, i+1, func(e *record.Entry) { e.Position = p })
			l.bodies[i], l.bodies[i+1] = l.bodies[i+1], l.bodies[i]
			next, _ := record.DecodeEntry(l.bodies[i].Bytes)
			guarded = guarded || next.Body.Kind() == record.KindAudit || covered[next.Body.Kind()] || next.Body.Kind() == record.KindState
		case "insert": // behind everything, where there is room
			one := act(50, "N-9")
			one.Position = record.Position(n + 1)
			b, _ := one.Append(nil)
			l.bodies, guarded = append(l.bodies, journal.Body{Position: one.Position, Bytes: b}), true
		case "cut":
			l.bodies, guarded, heads = l.bodies[:i], true, append(heads, whole.Last)
		case "blank":
			if !isLink || link.Who.Text == "" {
				return
			}
			l.rewrite(rt, i, func(e *record.Entry) { a := e.Body.(record.Audit); a.Who.Take(); e.Body = a })
		case "flip":
			l.bodies[i].Bytes[rapid.IntRange(0, len(l.bodies[i].Bytes)-1).Draw(rt, "byte")] ^= 1
			guarded = true
		case "void": // as if it had been deleted on purpose
			note := record.Retired{Source: journal.Entries, First: uint64(e.Position), Last: uint64(e.Position)}
			l.bodies[i].Bytes = note.Append(nil)
			if i == n-1 {
				heads = append(heads, whole.Last)
			}
		}
		r := verify(rt, l, heads...)
		if guarded && len(r.Findings) == 0 {
			rt.Fatalf("%s of entry %d (%s) does not show", what, e.Position, e.Body.Kind())
		}
		if !guarded && len(r.Findings) > 0 {
			rt.Fatalf("%s of entry %d, which is nobody's: %q", what, e.Position, r.Findings)
		}
	})
}

// Whoever makes the chain anew is found by a link that was noted, and by nothing else.
func TestAChainMadeAnew(t *testing.T) {
	var heads [2]record.Link
	for i, who := range []string{"N-4", "N-9"} {
		m := new(journaltest.Memory)
		if _, err := Over(m).Append(t.Context(), act(1, who)); err != nil {
			t.Fatal(err)
		}
		r := verify(t, m)
		heads[i] = r.Last
		if len(r.Findings) > 0 {
			t.Errorf("%+v", r)
		}
		if i == 1 {
			if r = verify(t, m, heads[0]); len(r.Findings) != 1 || !strings.Contains(r.Findings[0], "made anew") {
				t.Errorf("%q", r.Findings)
			}
			if r = verify(t, m, record.Link{Number: 7}); len(r.Findings) != 1 || !strings.Contains(r.Findings[0], "cut off") {
				t.Errorf("%q", r.Findings)
			}
		}
	}
	if back, err := record.ParseLink(heads[0].String()); err != nil || back != heads[0] {
		t.Errorf("%v %v", back, err)
	}
	for _, bad := range []string{"", "7", "7:", "7:00", "-1:" + heads[0].Hash.String(), heads[0].String() + "0", " " + heads[0].String()} {
		if l, err := record.ParseLink(bad); err == nil {
			t.Errorf("%q is read as %v", bad, l)
		}
	}
}

// What keep: lets go is no finding, if a link says so before it goes.
func TestWhatIsDeletedOnPurpose(t *testing.T) {
	m := new(journaltest.Memory)
	j := Over(m)
	for i := range 3 {
		if _, err := j.Append(t.Context(), act(i, "N-4")); err != nil {
			t.Fatal(err)
		}
	}
	gone := func(l *lair, positions ...int) *lair {
		for _, p := range positions {
			l.bodies[p-1].Bytes = (&record.Retired{Source: journal.Entries, First: uint64(p), Last: uint64(p)}).Append(nil)
		}
		return l
	}
	if r := verify(t, gone(open(t, m), 1)); len(r.Findings) != 1 {
		t.Errorf("deleted, and no link says so: %q", r.Findings)
	}
	if err := Retire(t.Context(), m, noon, record.KindAction, 3); err != nil {
		t.Fatal(err)
	}
	if r := verify(t, gone(open(t, m), 1, 3)); len(r.Findings) > 0 || r.Deleted != 2 || r.Covered != 1 {
		t.Errorf("%+v", r)
	}
	if r := verify(t, gone(open(t, m), 1, 3, 5)); len(r.Findings) != 1 {
		t.Errorf("deleted beyond what the link says: %q", r.Findings)
	}
}

// A record of earlier versions has no chain; it begins with the first that is kept.
func TestAChainBeginsInAnOldRecord(t *testing.T) {
	m := new(journaltest.Memory)
	if _, err := m.Append(t.Context(), act(1, "N-4"), fault(1), raised(2)); err != nil {
		t.Fatal(err)
	}
	if r := verify(t, m); len(r.Findings) > 0 || r.Last != (record.Link{}) {
		t.Errorf("%+v", r)
	}
	if p, err := Over(m).Append(t.Context(), raised(3), act(3, "N-4")); err != nil || p != 5 {
		t.Errorf("position %d, %v", p, err)
	}
	r := verify(t, m)
	if len(r.Findings) > 0 || r.From != 6 || r.Covered != 2 {
		t.Errorf("%+v", r)
	}
	if head, ok, err := Head(t.Context(), m); err != nil || !ok || head != r.Last {
		t.Errorf("%v %v %v", head, ok, err)
	}
}

// An act that is not kept has no link, and the chain goes on without a hole.
func TestWhatIsNotKeptHasNoLink(t *testing.T) {
	m := new(journaltest.Memory)
	j := Over(m)
	bad := act(1, "N-4")
	bad.Ord = 1 << 63
	if _, err := j.Append(t.Context(), bad); !errors.Is(err, record.ErrInvalid) {
		t.Fatal(err)
	}
	if _, err := j.Append(t.Context(), act(2, "N-4")); err != nil {
		t.Fatal(err)
	}
	if r := verify(t, m); len(r.Findings) > 0 || r.Last.Number != 1 {
		t.Errorf("%+v", r)
	}
}

// A wall screen that looks all day is noted four times an hour, and a flood of looks
// is counted.
func TestLooksAreNotedOnceInAQuarter(t *testing.T) {
	m := new(journaltest.Memory)
	now := noon
	v := NewViews(Over(m), func() sample.Instant { return now })
	for range 3600 {
		v.Saw(record.Deed{Who: "10.0.0.7", What: Viewed, Place: "bed-4"})
		now += 1e9
	}
	v.Saw(record.Deed{Who: "10.0.0.7", What: Viewed, Place: "bed-5"})
	v.keep(t.Context())
	for i := range 3000 {
		v.Saw(record.Deed{Who: "10.0.0.8", What: Viewed, Subject: fmt.Sprint(i)})
	}
	v.keep(t.Context())
	var said []string
	for e, err := range Lines(t.Context(), m, Query{}) {
		if err != nil {
			t.Fatal(err)
		}
		said = append(said, Sentence(&e))
	}
	if n := len(said); n != 4+1+mostLooks+1 || said[0] != "10.0.0.7 looked at bed-4" || said[n-1] != "weald did not note 1976 looks, which came too fast or found no room" {
		t.Errorf("%d lines, the first %q, the last %q", n, said[0], said[n-1])
	}
	if r := verify(t, m); len(r.Findings) > 0 {
		t.Errorf("%q", r.Findings)
	}
}

// What is about a person is what names the code, and what was done where that person
// was at the time.
func TestLinesAboutAPerson(t *testing.T) {
	m := new(journaltest.Memory)
	j := Over(m)
	step := func(i int, what string) record.Entry {
		at := noon + sample.Instant(i)*1e9
		return record.Entry{At: at, Written: at, Place: "bed-4", Author: "N-4", Body: record.Session{ID: "s-1", What: what, Code: "K-07"}}
	}
	for _, e := range []record.Entry{act(1, "N-4"), step(2, "begun"), act(3, "N-5"), raised(3), step(4, "ended"), act(5, "N-5")} {
		if _, err := j.Append(t.Context(), e); err != nil {
			t.Fatal(err)
		}
	}
	for q, want := range map[Query]string{
		{}:                             "N-4 acknowledged bed-4~turn-due~bed at bed-4; N-4 began session s-1 of K-07 at bed-4; N-5 acknowledged bed-4~turn-due~bed at bed-4; N-4 ended session s-1 of K-07 at bed-4; N-5 acknowledged bed-4~turn-due~bed at bed-4",
		{Person: "K-07"}:               "N-4 began session s-1 of K-07 at bed-4; N-5 acknowledged bed-4~turn-due~bed at bed-4; N-4 ended session s-1 of K-07 at bed-4",
		{Who: "N-5", From: noon + 4e9}: "N-5 acknowledged bed-4~turn-due~bed at bed-4",
		{Alerts: true, From: noon + 3e9, To: noon + 4e9}: "N-5 acknowledged bed-4~turn-due~bed at bed-4; weald kept a change of an alert at bed-4",
	} {
		var said []string
		for e, err := range Lines(t.Context(), m, q) {
			if err != nil {
				t.Fatal(err)
			}
			said = append(said, Sentence(&e))
		}
		if got := strings.Join(said, "; "); got != want {
			t.Errorf("%+v:\n%s\nwant\n%s", q, got, want)
		}
	}
}

// A call that is made again is the same call: a store that tells calls apart by what
// they bring keeps it once. Nobody else has its salts.
func TestACallMadeAgainIsTheSame(t *testing.T) {
	var kept [3][]byte
	one := Over(new(journaltest.Memory))
	for i, j := range []*Journal{one, one, Over(new(journaltest.Memory))} {
		salt, err := j.salts([]record.Entry{act(1, "N-4")})
		if err != nil {
			t.Fatal(err)
		}
		link, _ := linkOf([]record.Entry{act(1, "N-4")}, salt)
		if kept[i], err = link.JSON(); err != nil {
			t.Fatal(err)
		}
	}
	if string(kept[0]) != string(kept[1]) || string(kept[0]) == string(kept[2]) {
		t.Errorf("%s\n%s\n%s", kept[0], kept[1], kept[2])
	}
	if a, b := salt(), salt(); string(a) == string(b) {
		t.Error("the same salt twice")
	}
}
