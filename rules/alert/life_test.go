package alert_test

import (
	"bytes"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules/alert"
)

func second(s int) sample.Instant { return sample.Instant(s) * sample.Instant(time.Second) }

// draw makes up a life: a hold that comes and goes, sometimes fast, and people
// who do whatever they like.
func draw(t *rapid.T) (inputs []input, spec alert.Spec, seconds int) {
	spec.Latched = rapid.Bool().Draw(t, "latched")
	spec.EscalateAfter = time.Duration(rapid.SampledFrom([]int{0, 60, 300, 601}).Draw(t, "escalate")) * time.Second
	at, holds := 0, false
	for range rapid.IntRange(0, 60).Draw(t, "inputs") {
		at += rapid.SampledFrom([]int{0, 1, 30, 60, 120, 240, 300, 599, 600, 601}).Draw(t, "later")
		in := input{at: at, who: rapid.SampledFrom([]string{"K-07", "K-08"}).Draw(t, "who")}
		switch rapid.IntRange(0, 7).Draw(t, "kind") {
		case 0, 1, 2, 3:
			holds = !holds
			in.what = map[bool]string{true: "raise", false: "clear"}[holds]
		case 4:
			in.what = rapid.SampledFrom([]string{"empty", "occupied"}).Draw(t, "body")
		default:
			in.what = string(rapid.SampledFrom(alert.Verbs()).Draw(t, "verb"))
			in.mins = rapid.SampledFrom([]int{0, 1, 5, 10, 480, 481}).Draw(t, "mins")
		}
		inputs = append(inputs, in)
	}
	return inputs, spec, at + rapid.IntRange(0, 2000).Draw(t, "after")
}

// A Life tells what a reference finds that goes through it second by second, and
// is in order after everything that happens.
func TestLifeAgreesWithAReference(t *testing.T) {
	seen := map[string]int{}
	all := []string{"escalated", "calm", "shelf-ended", "quiet"}
	for _, state := range alert.States() {
		all = append(all, string(state))
	}
	tried.Check(t, tried.Each(seen, 1, all...), func(t *rapid.T) {
		inputs, spec, seconds := draw(t)
		got := lived(inputs, &spec, seconds, func(l *alert.Life) {
			if err := l.Check(&spec); err != nil {
				t.Fatal(err)
			}
		})
		want := reference(inputs, spec.Latched, int(spec.EscalateAfter/time.Second), seconds)
		if !slices.Equal(got, want) {
			t.Fatalf("%+v\n%+v\nlived:\n%s\nwant:\n%s", spec, inputs, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		for _, line := range got {
			words := strings.Fields(line)
			seen[words[1]]++
			seen[words[2]]++
			seen["chattering "+words[4]]++
			seen[words[len(words)-1]]++
		}
	})
}

// A life that is written down and read goes on as if nothing had happened.
func TestSnapshotOfALife(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		inputs, spec, seconds := draw(t)
		lived(inputs, &spec, seconds, func(l *alert.Life) {
			b := l.Append(nil)
			got, rest, err := alert.ReadLife(&spec, append(b, "rest"...))
			if err != nil || string(rest) != "rest" || got != *l {
				t.Fatalf("%+v is read as %+v, %q left, %v", *l, got, rest, err)
			}
			if again := got.Append(nil); !bytes.Equal(again, b) {
				t.Fatalf("%x, then %x", b, again)
			}
		})
	})
}

// The transitions that ISA-18.2 draws between the states that it shares with
// this package, as the documentation of a state machine of that standard lists
// them: normal to unacknowledged, that to acknowledged, to returned and to each
// state that puts aside, acknowledged to normal. Latched needs a person even
// after its return (OPC 10000-9, 4.8).
func TestTransitionsOfISA182(t *testing.T) {
	for _, c := range []struct {
		latched bool
		inputs  string
		want    alert.State
	}{
		{false, "", alert.Normal},
		{false, "raise", alert.Unacknowledged},
		{false, "raise acknowledge", alert.Acknowledged},
		{false, "raise acknowledge clear", alert.Normal},
		{false, "raise clear", alert.Returned},
		{false, "raise clear acknowledge", alert.Normal},
		{false, "raise clear raise", alert.Unacknowledged},
		{false, "raise shelve", alert.Shelved},
		{false, "raise empty", alert.Suppressed},
		{false, "raise out-of-service", alert.OutOfService},
		{false, "raise shelve unshelve", alert.Unacknowledged},
		{false, "raise acknowledge shelve unshelve", alert.Acknowledged},
		{false, "shelve raise unshelve", alert.Unacknowledged},
		{false, "shelve raise clear unshelve", alert.Normal},
		{false, "raise acknowledge clear raise", alert.Unacknowledged},
		{true, "raise clear", alert.Latched},
		{true, "raise clear acknowledge", alert.Normal},
		{true, "raise acknowledge clear", alert.Normal},
		{true, "shelve raise clear unshelve", alert.Latched},
		{false, "empty shelve out-of-service in-service", alert.Suppressed},
		{false, "empty shelve occupied", alert.Shelved},
	} {
		var inputs []input
		for i, what := range strings.Fields(c.inputs) {
			inputs = append(inputs, input{at: i, what: what, who: "K-07", mins: 60})
		}
		spec := alert.Spec{Latched: c.latched}
		state := alert.Normal
		lived(inputs, &spec, 100, func(l *alert.Life) { state = l.State(&spec) })
		if state != c.want {
			t.Errorf("latched %t, %q: %s, want %s", c.latched, c.inputs, state, c.want)
		}
	}
}

func TestRefusedActions(t *testing.T) {
	raised := func(l *alert.Life, spec *alert.Spec) { l.Hold(spec, alert.Event{What: alert.Raised, At: 1}, nil) }
	for _, c := range []struct {
		a     alert.Action
		after []alert.Verb
		want  string
	}{
		{alert.Action{Verb: alert.Acknowledge}, nil, "nobody says who"},
		{alert.Action{Verb: "silence", Who: "K-07"}, nil, "nothing that can be done"},
		{alert.Action{Verb: alert.Shelve, Who: "K-07", Until: 50}, nil, "a reason is needed"},
		{alert.Action{Verb: alert.TakeOut, Who: "K-07", Why: "  "}, nil, "a reason is needed"},
		{alert.Action{Verb: alert.Shelve, Who: "K-07", Why: "bath", Until: 10}, nil, "ends after it begins"},
		{alert.Action{Verb: alert.Shelve, Who: "K-07", Why: "bath", Until: 10 + sample.Instant(8*time.Hour) + 1}, nil, "8 hours at most"},
		{alert.Action{Verb: alert.Unshelve, Who: "K-07"}, nil, "not shelved"},
		{alert.Action{Verb: alert.TakeBack, Who: "K-07"}, nil, "not out of service"},
		{alert.Action{Verb: alert.Acknowledge, Who: "K-08"}, []alert.Verb{alert.Acknowledge}, "acknowledged already, by K-07"},
		{alert.Action{Verb: alert.Acknowledge, Who: "K-08"}, []alert.Verb{alert.Shelve}, "it is shelved"},
		{alert.Action{Verb: alert.Shelve, Who: "K-08", Why: "bath", Until: 50}, []alert.Verb{alert.TakeOut}, "out of service"},
	} {
		var l alert.Life
		var spec alert.Spec
		raised(&l, &spec)
		for _, v := range c.after {
			if _, err := l.Act(&spec, alert.Event{}, &alert.Action{Verb: v, At: 5, Who: "K-07", Why: "bath", Until: 60}, nil); err != nil {
				t.Fatal(err)
			}
		}
		before := l
		c.a.At = 10
		events, err := l.Act(&spec, alert.Event{}, &c.a, nil)
		if !errors.Is(err, alert.ErrRefused) || !strings.Contains(err.Error(), c.want) || len(events) > 0 || l != before {
			t.Errorf("%+v after %v: %v, told %v, want it refused with %q", c.a, c.after, err, events, c.want)
		}
	}
}

// What is refused differs between no alert and an alert, not between the check
// and the act.
func TestPermitsIsWhatActDoes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		inputs, spec, seconds := draw(t)
		lived(inputs, &spec, seconds, func(l *alert.Life) {
			for _, v := range alert.Verbs() {
				a := alert.Action{Verb: v, At: second(seconds), Who: "K-09", Why: "bath", Until: second(seconds + 60)}
				would := l.Permits(&spec, &a)
				on := *l
				if _, err := on.Act(&spec, alert.Event{}, &a, nil); (err == nil) != (would == nil) {
					t.Fatalf("%s in %s: %v, but %v", v, l.State(&spec), would, err)
				}
			}
		})
	})
}

func TestKeysAreTheirIDs(t *testing.T) {
	k := alert.Key{Place: "bed-4", Rule: "turn_due", Subject: "mat"}
	if got, ok := alert.ParseKey(k.ID()); !ok || got != k {
		t.Errorf("%q is read as %+v", k.ID(), got)
	}
	for _, id := range []string{"", "bed-4", "a~b", "a~b~c~d"} {
		if got, ok := alert.ParseKey(id); ok {
			t.Errorf("%q is read as %+v", id, got)
		}
	}
}
