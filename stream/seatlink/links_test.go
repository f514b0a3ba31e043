package seatlink

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

var noon = sample.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))

func read(t *testing.T, j journal.Log) *Links {
	t.Helper()
	l, err := Read(t.Context(), j)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func make2(t *testing.T, l *Links) (one, other Link, key, otherKey string) {
	t.Helper()
	one, key, err := l.Make(t.Context(), "seat-1", Deed{At: noon, By: "N-4", Why: "afternoon"})
	if err != nil {
		t.Fatal(err)
	}
	other, otherKey, err = l.Make(t.Context(), "seat-2", Deed{At: noon, By: "N-4"})
	if err != nil {
		t.Fatal(err)
	}
	return one, other, key, otherKey
}

// A link opens its own seat and no other, until it is withdrawn, and after a
// restart as before.
func TestLifeOfALink(t *testing.T) {
	j := new(journaltest.Memory)
	l := read(t, j)
	one, other, key, otherKey := make2(t, l)
	opens := func(l *Links, key, want string) {
		t.Helper()
		if place, ok := l.Open(key, noon.Add(time.Minute)); place != want || ok != (want != "") {
			t.Errorf("%.4s… opens %q, want %q", key, place, want)
		}
	}
	opens(l, key, "seat-1")
	opens(l, otherKey, "seat-2")
	for _, wrong := range []string{"", key[:25], key + "A", strings.ToLower(key), one.ID} {
		opens(l, wrong, "")
	}
	if all := l.All(); len(all) != 2 || all[0].Used != noon.Add(time.Minute) || all[0].By != "N-4" || all[0].WithdrawnAt != sample.Never {
		t.Errorf("%+v", all)
	}
	again := read(t, j)
	opens(again, key, "seat-1")
	if _, err := again.Withdraw(t.Context(), one.ID, Deed{At: noon.Add(time.Hour), By: "N-5"}); err != nil {
		t.Fatal(err)
	}
	opens(again, key, "")
	opens(again, otherKey, "seat-2")
	later := read(t, j)
	opens(later, key, "")
	opens(later, otherKey, "seat-2")
	if x := later.All()[0]; x.WithdrawnBy != "N-5" || x.WithdrawnAt != noon.Add(time.Hour) || x.Used != sample.Past {
		t.Errorf("%+v", x)
	}
	if _, err := later.Withdraw(t.Context(), one.ID, Deed{}); !errors.Is(err, ErrGone) {
		t.Errorf("withdrawn twice: %v", err)
	}
	if _, err := later.Withdraw(t.Context(), "l-none", Deed{}); !errors.Is(err, ErrNone) {
		t.Errorf("one that is none: %v", err)
	}
	if other.ID == one.ID || key == otherKey || len(key) < 26 { // 26 letters of 32 are 130 bits
		t.Errorf("%s %s, keys of %d letters", one.ID, other.ID, len(key))
	}
}

// The record has who did what with which link. It has no key, and nothing of it is
// an input of the rules.
func TestKeysAreKeptAsHashes(t *testing.T) {
	j := new(journaltest.Memory)
	l := read(t, j)
	one, _, key, otherKey := make2(t, l)
	if _, err := l.Withdraw(t.Context(), one.ID, Deed{At: noon, By: "N-5", Why: "lost phone"}); err != nil {
		t.Fatal(err)
	}
	var said []string
	for e, err := range j.Entries(t.Context(), journal.Query{}) {
		if err != nil {
			t.Fatal(err)
		}
		a := e.Body.(record.Action)
		said = append(said, fmt.Sprint(e.Place, " ", e.Author, " ", a.What, " ", a.Reason))
		b, err := e.Append(nil)
		if err != nil || e.Ord != 0 {
			t.Errorf("%+v: %v", e, err)
		}
		for _, k := range []string{key, otherKey} {
			if bytes.Contains(bytes.ToUpper(b), []byte(k)) {
				t.Errorf("a key is in %s", b)
			}
		}
	}
	want := "[seat-1 N-4 seat-link-made afternoon seat-2 N-4 seat-link-made  seat-1 N-5 seat-link-withdrawn lost phone]"
	if fmt.Sprint(said) != want {
		t.Errorf("%v, want %v", said, want)
	}
	for in, err := range j.Inputs(t.Context(), 0, 1<<62) {
		t.Errorf("an input: %+v %v", in, err)
	}
}

// What cannot be kept is not done: no new link works, and none ends unseen.
func TestWhatIsNotKeptIsNotDone(t *testing.T) {
	j := new(journaltest.Memory)
	l := read(t, j)
	one, _, key, _ := make2(t, l)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if _, key, err := l.Make(t.Context(), "seat-1", Deed{At: noon}); !errors.Is(err, journal.ErrClosed) || key != "" {
		t.Errorf("made: %v", err)
	}
	if _, err := l.Withdraw(context.Background(), one.ID, Deed{At: noon}); !errors.Is(err, journal.ErrClosed) {
		t.Errorf("withdrawn: %v", err)
	}
	if _, ok := l.Open(key, noon); !ok || len(l.All()) != 2 {
		t.Errorf("%t %+v", ok, l.All())
	}
}

func TestLinksOfASeatAreFew(t *testing.T) {
	l := read(t, new(journaltest.Memory))
	var last Link
	for range MostAlive {
		var err error
		if last, _, err = l.Make(t.Context(), "seat-1", Deed{At: noon}); err != nil {
			t.Fatal(err)
		}
	}
	if _, _, err := l.Make(t.Context(), "seat-1", Deed{At: noon}); !errors.Is(err, ErrTooMany) {
		t.Errorf("one more: %v", err)
	}
	if _, _, err := l.Make(t.Context(), "seat-2", Deed{At: noon}); err != nil {
		t.Errorf("of another seat: %v", err)
	}
	if _, err := l.Withdraw(t.Context(), last.ID, Deed{At: noon}); err != nil {
		t.Fatal(err)
	}
	if _, _, err := l.Make(t.Context(), "seat-1", Deed{At: noon}); err != nil {
		t.Errorf("after one was withdrawn: %v", err)
	}
}
