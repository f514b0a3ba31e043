package alert_test

import (
	"bytes"
	"errors"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
)

// busy is a life with something in each of its fields.
func busy(t testing.TB, spec *alert.Spec) (l alert.Life) {
	for second := range 5 {
		at := sample.Instant(time.Duration(second) * time.Second)
		l.Hold(spec, alert.Event{At: at, What: alert.Raised}, nil)
		l.Hold(spec, alert.Event{At: at.Add(1), What: alert.Cleared}, nil)
	}
	at := sample.Instant(time.Minute)
	for _, a := range []alert.Action{
		{Verb: alert.Acknowledge, At: at, Who: "N-12", Why: "loosened the wrap"},
		{Verb: alert.Shelve, At: at.Add(1), Until: at.Add(time.Hour), Who: "N-12", Why: "wound is dressed"},
	} {
		if _, err := l.Act(spec, alert.Event{}, &a, nil); err != nil {
			t.Fatal(err)
		}
	}
	return l
}

// Any bytes at all are a life that its own methods could have brought about, or refused
// with ErrSnapshot and nothing filled: of those that are taken what is written is read as
// the same, and time goes on in it until nothing more is due.
func FuzzReadLife(f *testing.F) {
	spec := alert.Spec{Latched: true, EscalateAfter: 5 * time.Minute}
	l := busy(f, &spec)
	b := l.Append(nil)
	f.Add(b)
	f.Add((&alert.Life{}).Append(nil))
	for k := range b {
		f.Add(b[:k])
		f.Add(append(append(bytes.Clone(b[:k]), b[k]^0x81), b[k+1:]...))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		l, rest, err := alert.ReadLife(&spec, b)
		if err != nil {
			if !errors.Is(err, alert.ErrSnapshot) || l != (alert.Life{}) || rest != nil {
				t.Errorf("%v, %+v, %x", err, l, rest)
			}
			return
		}
		if err := l.Check(&spec); err != nil || !bytes.HasSuffix(b, rest) {
			t.Errorf("%v, left %x of %x", err, rest, b)
		}
		again, left, err := alert.ReadLife(&spec, l.Append(nil))
		if err != nil || len(left) != 0 || again != l {
			t.Errorf("%+v became %+v, %v", l, again, err)
		}
		last := sample.Past
		for range 8 { // a shelf, a calm, and a tier after the other
			at := l.Next(&spec)
			if at == sample.Never {
				return
			}
			if at < last {
				t.Fatalf("due at %v after %v", at, last)
			}
			if events := l.Tick(&spec, alert.Event{}, at, nil); len(events) != 1 || events[0].At != at {
				t.Fatalf("due at %v: %+v", at, events)
			}
			if err := l.Check(&spec); err != nil {
				t.Fatal(err)
			}
			last = at
		}
		t.Errorf("there is always more due of %+v", l)
	})
}
