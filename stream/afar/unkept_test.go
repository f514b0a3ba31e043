package afar

import (
	"encoding/json"
	"testing"
	"time"

	"weald/stream/view"
)

// A ward that says that it keeps nothing is not seen, whatever its servers answer, and what is known
// of it is as of when it did: until it says, or whoever judges after it, that it keeps again, and its
// servers are asked after that, which had not what waited before.
func TestAWardThatKeepsNothingIsNotSeen(t *testing.T) {
	at := time.Date(2026, 3, 1, 22, 0, 0, 0, time.UTC)
	w := New(func() time.Time { return at })
	hear := func(u *Unkept) {
		b, err := json.Marshal(shown{0, 1, view.Place{ID: "bench-1"}, u})
		if err != nil {
			t.Fatal(err)
		}
		w.hear(b)
	}
	say := func(u *Unkept) Look {
		hear(u)
		w.Sighted(Sight{At: at, Reached: true})
		return w.Look()
	}
	w.next = 1
	if l := say(nil); !l.Whole || !l.Seen.Equal(at) || l.Unkept != nil {
		t.Errorf("it keeps all, and is %+v", l)
	}
	since := at.Add(-10 * time.Second)
	for range 3 {
		at = at.Add(time.Second)
		if l := say(&Unkept{since, "the disk takes nothing"}); l.Whole || !l.Seen.Equal(since) || l.Unkept == nil || !l.Unkept.Since.Equal(since) {
			t.Errorf("it keeps nothing, and is %+v", l)
		}
	}
	at = at.Add(time.Second)
	hear(nil)
	if l := w.Look(); l.Whole || !l.Seen.Equal(since) {
		t.Errorf("its servers were asked before it kept what waited, and it is %+v", l)
	}
	if l := say(nil); !l.Whole || !l.Seen.Equal(at) || l.Unkept != nil {
		t.Errorf("it keeps again, and is %+v", l)
	}
}
