package replicated

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"weald/stream/journal/sqlite"
)

// Writers write and claim in any turn, of old messages too that were on their way for long: what is
// kept is of whoever claimed last, from its claim on until the next, each turn has one writer and they ascend by one,
// who is refused has changed nothing, and whoever begins at any message with what another has come to agrees.
func TestWhoWritesIsAgreedUpon(t *testing.T) {
	type said struct {
		label
		claims bool
	}
	judged := func(f *follower, s said) bool {
		c := &call{}
		if !s.claims {
			c = marked("written")
		}
		was := f.at
		o := f.judge(s.label, c)
		if o.err != nil && (!errors.Is(o.err, ErrSuperseded) || f.at != was) {
			panic(fmt.Sprintf("%+v is refused with %v, and leaves %+v", s, o.err, f.at))
		}
		return o.err == nil
	}
	rapid.Check(t, func(t *rapid.T) {
		all := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) said {
			return said{label{term: rapid.Uint64Range(0, 4).Draw(t, "term"), writer: rapid.SampledFrom([]string{"a", "b", "c"}).Draw(t, "writer")}, rapid.Bool().Draw(t, "claims")}
		}), 0, 30).Draw(t, "said")
		begins := rapid.IntRange(0, len(all)).Draw(t, "another begins")
		f, late := &follower{Journal: &Journal{}}, &follower{Journal: &Journal{}}
		term, owner := uint64(0), ""
		for i, s := range all {
			if i == begins {
				late.at = f.at
			}
			took := s.claims && s.term == term+1
			if took {
				term, owner = s.term, s.writer
			}
			want := took || s.term == term && (term == 0 || s.writer == owner)
			if got := judged(f, s); got != want {
				t.Fatalf("%d: %+v in turn %d of %q: taken is %v", i, s, term, owner, got)
			}
			if i >= begins && judged(late, s) != want {
				t.Fatalf("%d: %+v is judged otherwise by who began with message %d", i, s, begins)
			}
			if f.at.Term != term || f.at.Writer != owner || want && f.current.Load() != term {
				t.Fatalf("%d: it is at %+v and knows of turn %d, which is %d of %q", i, f.at, f.current.Load(), term, owner)
			}
		}
	})
}

// A writer that was superseded while its call was on the way has kept nothing of it, on any machine and after any
// start, whether the call was whole before the other claimed or only its last part came after
// that; and what it had kept before stays.
func TestWhatAnOldHolderWritesLate(t *testing.T) {
	dir := t.TempDir()
	f := alone(t, dir)
	large, err := marked("of a, in parts").append(nil)
	if err != nil {
		t.Fatal(err)
	}
	halves := cut(large, len(large)/2+1)
	err = errors.Join(
		f.say(t, 1, label{1, "a", 1, 1, 1}, &call{}),
		f.say(t, 2, label{1, "a", 2, 1, 1}, marked("of a")),
		f.message(3, label{1, "a", 3, 1, 2}.String(), halves[0]),
		f.say(t, 4, label{2, "b", 1, 1, 1}, &call{}),
		f.message(5, label{1, "a", 3, 2, 2}.String(), halves[1]),
		f.say(t, 6, label{1, "a", 4, 1, 1}, marked("of a, late")),
		f.say(t, 7, label{2, "a", 5, 1, 1}, marked("of a, in the turn of b")),
		f.say(t, 8, label{2, "a", 6, 1, 1}, &call{}),
		f.say(t, 9, label{2, "b", 2, 1, 1}, marked("of b")),
	)
	if err != nil {
		t.Fatal(err)
	}
	want := sqlite.Followed{Log: "x", Term: 2, Writer: "b", Applied: 9, Next: 10}
	if got := texts(t, f); got != "of a of b" || f.at != want {
		t.Errorf("it has %q, and is at %+v", got, f.at)
	}
	f.store.Close()
	f = alone(t, dir)
	if f.at != want {
		t.Errorf("after a start it is at %+v", f.at)
	}
	if err := f.say(t, 10, label{1, "a", 7, 1, 1}, marked("of a, later still")); err != nil {
		t.Fatal(err)
	}
	if got := texts(t, f); got != "of a of b" {
		t.Errorf("after a start it has %q", got)
	}
}

// Who is refused is told so by the outcome of its call, and who was not is told where it stands; a
// call of another writer with the same number is not taken for it.
func TestOutcomesAreOfTheOwnCalls(t *testing.T) {
	f := alone(t, t.TempDir())
	mine, _ := f.calls.take(hashOf(0, nil))
	if err := f.say(t, 1, label{0, "other", mine.call, 1, 1}, marked("of another")); err != nil {
		t.Fatal(err)
	}
	select {
	case <-mine.done:
		t.Fatal("the outcome of another's call is taken for that of the own")
	default:
	}
	if err := f.say(t, 2, label{0, "me", mine.call, 1, 1}, marked("mine")); err != nil {
		t.Fatal(err)
	}
	if <-mine.done; mine.err != nil || mine.position != 2 {
		t.Errorf("it is told position %d, %v", mine.position, mine.err)
	}
	late, _ := f.calls.take(hashOf(0, nil))
	if err := errors.Join(f.say(t, 3, label{1, "other", 2, 1, 1}, &call{}), f.say(t, 4, label{0, "me", late.call, 1, 1}, marked("late"))); err != nil {
		t.Fatal(err)
	}
	if <-late.done; !errors.Is(late.err, ErrSuperseded) || late.position != 0 {
		t.Errorf("who was superseded is told position %d, %v", late.position, late.err)
	}
	if got := texts(t, f); got != "of another mine" {
		t.Errorf("it has %q", got)
	}
	if head, err := f.Head(context.Background()); err != nil || head.Position != 2 {
		t.Errorf("it ends with %+v, %v", head, err)
	}
}
