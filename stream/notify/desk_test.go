package notify

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules/alert"
	"weald/stream/record"
)

// A ward is a record that a desk follows, and is killed beside it.
type ward struct {
	t       *rapid.T
	specs   []Spec
	entries []record.Entry
	desk    *Desk
	now     sample.Instant
	queued  []string          // "minute key"
	ended   map[string]string // by key: what became of it
	aside   map[string]bool   // by alert, now
}

// keep appends notices as one write.
func (w *ward) keep(minute int, notices []record.Notice) {
	for _, n := range notices {
		w.entries = append(w.entries, record.Entry{Position: record.Position(len(w.entries) + 1), At: w.now, Written: w.now, Body: n})
		switch n.What {
		case Queued:
			if n.About == string(Test) {
				continue
			}
			w.queued = append(w.queued, fmt.Sprintf("%d %s", minute, n.Key))
		case Sent, GivenUp, Withdrawn:
			if w.ended[n.Key] != "" {
				w.t.Fatalf("%s has ended twice", n.Key)
			}
			w.ended[n.Key] = n.What
		}
	}
}

// restart kills the desk and takes the record up.
func (w *ward) restart(minute int) {
	w.desk = NewDesk(w.specs, time.UTC, w.now)
	var newest *record.Notice
	for i := range w.entries {
		if n, ok := w.entries[i].Body.(record.Notice); ok {
			newest = &n
		}
	}
	from, through := record.Position(0), record.Position(0)
	if newest != nil {
		from, through = newest.From, newest.Through
	}
	r := NewReplay(w.desk, through)
	for i := range w.entries {
		if w.entries[i].Position >= from {
			r.Entry(&w.entries[i])
		}
	}
	w.keep(minute, r.End(w.now))
}

// calls is what is said of calls, of all senders.
func (w *ward) calls() (out []Called) {
	for i := range w.specs {
		out = append(out, w.desk.Calls(i)...)
	}
	return out
}

// send lets every sender try what it has, with receivers that fail as they like.
func (w *ward) send(minute int) {
	for i := range w.specs {
		for range 20 {
			s, _ := w.desk.Pick(i, w.now)
			if s == nil {
				break
			}
			if s.About == Call && w.aside[s.Event.ID()] {
				w.t.Fatalf("%s is sent while the alert is put aside", s.Key)
			}
			if s.About == Call && !calls(&s.Now) && !strings.Contains(s.Text(), "Meanwhile") {
				w.t.Fatalf("as if it called: %s", s.Text())
			}
			var err error
			switch rapid.IntRange(0, 9).Draw(w.t, "outcome") {
			case 0:
				err = &Refusal{"422"}
			case 1, 2, 3:
				err = errors.New("no route")
			case 4:
				before := w.calls()
				w.restart(minute) // in the middle of an attempt
				if after := w.calls(); !slices.Equal(after, before) {
					w.t.Fatalf("after a start it is said of calls\n%+v, before it\n%+v", after, before)
				}
				return
			}
			w.keep(minute, w.desk.Done(i, s.Key, err, w.now, 0.5))
		}
	}
}

// Every message that a person with a list would call due is queued, at that minute,
// once, and no other; each ends once, as sent, given up or withdrawn, or waits and
// is not too old; whatever receivers do, and wherever the process is killed.
func TestEveryDueMessageEnds(t *testing.T) {
	seen := map[string]int{}
	tried.Check(t, tried.Each(seen, 1, Sent, GivenUp, Withdrawn, "call", "acknowledged", "over", "put-aside", "test"), func(t *rapid.T) {
		const minutes = 2 * 24 * 60
		history := drawHistory(t, minutes)
		w := &ward{t: t, specs: drawSpecs(t), ended: map[string]string{}, aside: map[string]bool{}}
		w.now = minute(0)
		w.desk = NewDesk(w.specs, time.UTC, w.now)
		position := map[record.Position]int{} // of changes: their number
		kills := rapid.SliceOfN(rapid.IntRange(0, minutes), 0, 4).Draw(t, "kills")
		next := 0
		for m := range minutes {
			w.now = minute(m)
			busy := false
			for ; next < len(history) && history[next].minute == m; next++ {
				busy = true
				p := record.Position(len(w.entries) + 1)
				position[p] = next + 1
				e := history[next].event
				w.entries = append(w.entries, entryOf(p, e))
				if !e.Quiet {
					w.aside[e.ID()] = e.State.Aside()
				}
				if slices.Contains(kills, m) {
					w.restart(m) // before anybody has looked at the change, or after
				}
				w.keep(m, w.desk.Change(p, &e, w.now))
			}
			if slices.Contains(kills, m) {
				w.restart(m)
			}
			w.keep(m, w.desk.Due(w.now))
			if busy || m%7 == 0 {
				w.send(m)
			}
			if busy {
				w.keep(m, w.desk.Mark())
			}
		}
		want := reference(history, w.specs, minutes)
		got := make([]string, len(w.queued))
		for i, q := range w.queued { // positions to numbers of the history
			at, key, _ := strings.Cut(q, " ")
			part := strings.Split(key, ".")
			var p record.Position
			fmt.Sscan(part[1], &p)
			part[1] = fmt.Sprint(position[p])
			got[i] = at + " " + strings.Join(part, ".")
		}
		slices.Sort(got)
		if !slices.Equal(got, want) {
			for i, h := range history {
				t.Log(i+1, h.minute, h.event.ID(), h.event.What, h.event.State, h.event.Tier, h.event.Quiet)
			}
			t.Fatalf("%+v\nqueued:\n%s\nwant:\n%s", w.specs, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		for i := range w.specs {
			waits := map[string]bool{}
			for _, m := range w.desk.boxes[i].waiting {
				waits[m.Key] = true
				if age := w.now.Sub(m.Queued); age >= w.specs[i].GiveUp {
					t.Fatalf("%s has waited for %v", m.Key, age)
				}
			}
			for _, q := range w.queued {
				_, key, _ := strings.Cut(q, " ")
				if strings.HasSuffix(key, "."+w.specs[i].ID) && waits[key] == (w.ended[key] != "") {
					t.Fatalf("%s: waits %v, ended %q", key, waits[key], w.ended[key])
				}
			}
		}
		for key, what := range w.ended {
			seen[what]++
			seen[strings.Split(key, ".")[0]]++
		}
		for _, q := range w.queued {
			seen[strings.Split(q, ".")[2]]++
		}
	})
}

func TestPauses(t *testing.T) {
	var last time.Duration
	for n := 1; n < 100; n++ {
		p := pauseAfter(n, 0)
		if p < last || p > 5*time.Minute || pauseAfter(n, 1) != p/2 {
			t.Fatalf("after %d failures %v, then %v", n, last, p)
		}
		last = p
	}
	if pauseAfter(1, 0) != time.Second || last != 5*time.Minute {
		t.Errorf("from %v to %v", pauseAfter(1, 0), last)
	}
}

// One that a receiver chokes on does not hold up others, and what is said of one
// alert stays in order.
func TestAMessageThatIsNeverTakenHoldsUpNoOther(t *testing.T) {
	d := NewDesk([]Spec{{ID: "desk", FollowUps: true, TestAt: -1, GiveUp: time.Hour, Most: 10}}, time.UTC, 0)
	now := minute(0)
	raise := func(p record.Position, place string, what alert.Change, state alert.State) {
		d.Change(p, &alert.Event{At: now, Key: alert.Key{Place: place, Rule: "r", Subject: "s"}, What: what, State: state, Tier: 1, Priority: alert.High}, now)
	}
	raise(1, "bed-1", alert.Raised, alert.Unacknowledged)
	raise(2, "bed-1", alert.WasAcknowledged, alert.Acknowledged)
	raise(3, "bed-2", alert.Raised, alert.Unacknowledged)
	var order []string
	for range 200 {
		now = now.Add(time.Second)
		s, _ := d.Pick(0, now)
		if s == nil {
			continue
		}
		var err error
		if s.About == Call && s.Event.Place == "bed-1" && s.Tries < 3 {
			err = errors.New("500")
		}
		d.Done(0, s.Key, err, now, 0)
		order = append(order, fmt.Sprintf("%s %s %v", s.Event.Place, s.About, err == nil))
	}
	want := []string{"bed-1 call false", "bed-2 call true", "bed-1 call false", "bed-1 call false", "bed-1 call true", "bed-1 acknowledged true"}
	if !slices.Equal(order, want) {
		t.Errorf("%q\nwant %q", order, want)
	}
}

// What has become of the present call is said, and of no earlier one.
func TestWhatHasBecomeOfACall(t *testing.T) {
	d := NewDesk([]Spec{{ID: "desk", TestAt: -1, GiveUp: time.Hour, Most: 10}}, time.UTC, 0)
	change := func(p record.Position, m int, what alert.Change, state alert.State, tier int) {
		e := alert.Event{At: minute(m), Key: alert.Key{Place: "bed-1", Rule: "r", Subject: "s"}, What: what, State: state, Tier: tier}
		d.Change(p, &e, minute(m))
	}
	says := func(want string) {
		t.Helper()
		got := ""
		for _, c := range d.Calls(0) {
			got += fmt.Sprintf("%s tier %d since %v %s after %v", c.Alert, c.Tier, c.Queued.Sub(minute(0)), c.What, c.Since.Sub(c.Queued))
		}
		if got != want {
			t.Errorf("it says %q, want %q", got, want)
		}
	}
	try := func(m int, err error) {
		s, _ := d.Pick(0, minute(m))
		d.Done(0, s.Key, err, minute(m), 0)
	}
	says("")
	change(1, 1, alert.Raised, alert.Unacknowledged, 1)
	says("bed-1~r~s tier 1 since 1m0s queued after 0s")
	try(2, errors.New("no route"))
	says("bed-1~r~s tier 1 since 1m0s queued after 0s")
	try(3, nil)
	says("bed-1~r~s tier 1 since 1m0s sent after 2m0s")
	change(2, 10, alert.Escalated, alert.Unacknowledged, 2)
	says("bed-1~r~s tier 2 since 10m0s queued after 0s")
	try(11, &Refusal{"422"})
	says("bed-1~r~s tier 2 since 10m0s given-up after 1m0s")
	change(3, 12, alert.WasAcknowledged, alert.Acknowledged, 0)
	says("")
}

// What is needed less than all that waits is queued and given up at once, so that it
// takes the place of nothing: neither of a call by a test, nor of a call by a lesser
// one. A start finds the same.
func TestANewcomerTakesNoBettersPlace(t *testing.T) {
	spec := Spec{ID: "desk", FollowUps: true, TestAt: -1, GiveUp: time.Hour, Most: 2}
	d := NewDesk([]Spec{spec}, time.UTC, minute(0))
	w := &ward{t: nil, ended: map[string]string{}, specs: []Spec{spec}, now: minute(0)}
	change := func(place string, what alert.Change, state alert.State, priority alert.Priority) (steps []string) {
		e := alert.Event{At: w.now, Key: alert.Key{Place: place, Rule: "r", Subject: "s"}, What: what, State: state, Tier: 1, Priority: priority}
		p := record.Position(len(w.entries) + 1)
		w.entries = append(w.entries, entryOf(p, e))
		notices := d.Change(p, &e, w.now)
		w.keep(0, notices)
		for _, n := range notices {
			key, _, _ := strings.Cut(n.Key, "~")
			steps = append(steps, n.What+" "+key+" "+n.About)
		}
		return steps
	}
	for _, c := range []struct {
		place    string
		what     alert.Change
		state    alert.State
		priority alert.Priority
		want     []string
	}{
		{"bed-1", alert.Raised, alert.Unacknowledged, alert.High, []string{"queued bed-1 call"}},
		{"bed-2", alert.Raised, alert.Unacknowledged, alert.Medium, []string{"queued bed-2 call"}},
		{"bed-3", alert.Raised, alert.Unacknowledged, alert.Low, []string{"queued bed-3 call", "given-up bed-3 "}},
		{"bed-3", alert.Cleared, alert.Normal, alert.Low, []string{"queued bed-3 over", "given-up bed-3 "}},
		{"bed-4", alert.Raised, alert.Unacknowledged, alert.Medium, []string{"given-up bed-2 ", "queued bed-4 call"}},
	} {
		if got := change(c.place, c.what, c.state, c.priority); !slices.Equal(got, c.want) {
			t.Errorf("%s %v: %q, want %q", c.place, c.what, got, c.want)
		}
	}
	before := waits(d)
	d.specs[0].TestAt = 8 * time.Hour
	w.now = minute(9 * 60)
	d.specs[0].GiveUp = 24 * time.Hour
	n := d.Due(w.now)
	w.keep(0, n)
	if len(n) != 2 || n[0].What != Queued || n[0].About != string(Test) || n[1].What != GivenUp || n[1].Why != "outbox full: more than 2 messages wait" {
		t.Errorf("the daily test: %+v", n)
	}
	if n := d.Due(w.now); len(n) != 0 {
		t.Errorf("the daily test is due again: %+v", n)
	}
	if _, n, err := d.AskTest(0, w.now.Add(time.Hour)); !errors.Is(err, ErrFull) || n != nil {
		t.Errorf("a test that somebody asks for: %v, %+v", err, n)
	}
	if got := waits(d); !slices.Equal(got, before) || len(got) != 2 {
		t.Errorf("there wait %q, and before the tests %q", got, before)
	}
	w.restart(0)
	if got := waits(w.desk); !slices.Equal(got, before) {
		t.Errorf("after a start there wait %q, want %q", got, before)
	}
}

func waits(d *Desk) (keys []string) {
	for _, m := range d.boxes[0].waiting {
		keys = append(keys, m.Key)
	}
	return keys
}

// A person may ask for a test once a minute; it is tried at once though the sender
// pauses, and the call that waits goes when it would have gone. If the receiver takes
// the test, a call that comes then does not wait.
func TestATestThatIsAskedForMovesNoCall(t *testing.T) {
	for _, takes := range []bool{false, true} {
		d := NewDesk([]Spec{{ID: "desk", TestAt: -1, GiveUp: time.Hour, Most: 10}}, time.UTC, minute(0))
		now := minute(0)
		d.Change(1, &alert.Event{At: now, Key: alert.Key{Place: "bed-1", Rule: "r", Subject: "s"}, What: alert.Raised, State: alert.Unacknowledged, Tier: 1}, now)
		for range 8 { // until it pauses for two minutes
			m, later := d.Pick(0, now)
			for m == nil {
				now = later
				m, later = d.Pick(0, now)
			}
			d.Done(0, m.Key, errors.New("no route"), now, 0)
		}
		_, call := d.Pick(0, now)
		now = now.Add(10 * time.Second)
		key, _, err := d.AskTest(0, now)
		if err != nil {
			t.Fatal(err)
		}
		if _, _, err := d.AskTest(0, now.Add(59*time.Second)); !errors.Is(err, ErrTooSoon) {
			t.Errorf("a second one in a minute: %v", err)
		}
		m, _ := d.Pick(0, now)
		if m == nil || m.Key != key {
			t.Fatalf("the test is not tried at once, but %+v", m)
		}
		var outcome error
		if !takes {
			outcome = errors.New("no route")
		}
		d.Done(0, key, outcome, now, 0)
		if next, later := d.Pick(0, now); next != nil || later != call {
			t.Errorf("after the test %+v is tried, at %v; the call was to be tried at %v", next, later, call)
		}
		d.Change(2, &alert.Event{At: now, Key: alert.Key{Place: "bed-2", Rule: "r", Subject: "s"}, What: alert.Raised, State: alert.Unacknowledged, Tier: 1}, now)
		if next, _ := d.Pick(0, now); (next != nil) != takes {
			t.Errorf("the receiver takes messages: %v; tried is %+v", takes, next)
		}
		if _, _, err := d.AskTest(0, now.Add(time.Minute)); err != nil {
			t.Errorf("a minute later: %v", err)
		}
	}
}

// A sender is broken when nothing has got through for a minute, or something was
// given up, and is whole with the next delivery; the other senders are called.
func TestABrokenSenderIsAnAlert(t *testing.T) {
	d := NewDesk([]Spec{{ID: "desk", TestAt: -1, GiveUp: time.Hour, Most: 10}, {ID: "night", TestAt: -1, GiveUp: time.Hour, Most: 10,
		Windows: []Window{{Tiers: []int{2}}}}}, time.UTC, 0)
	now := minute(0)
	d.Change(1, &alert.Event{At: now, Key: alert.Key{Place: "bed-1", Rule: "r", Subject: "s"}, What: alert.Raised, State: alert.Unacknowledged, Tier: 1}, now)
	var told []string
	p := record.Position(1)
	for s := range 300 {
		now = minute(0).Add(time.Duration(s) * time.Second)
		for i := range 2 {
			if m, _ := d.Pick(i, now); m != nil {
				var err error
				if i == 0 && s < 200 {
					err = errors.New("10.0.0.5:443 refuses connections")
				}
				d.Done(i, m.Key, err, now, 0)
				if i == 1 {
					told = append(told, m.Text())
				}
			}
			if f, changed := d.Health(i, now); changed {
				p++
				e, _ := f.Alert(now)
				told = append(told, fmt.Sprintf("%d s: %v", s, e.What))
				d.Change(p, &e, now)
			}
		}
	}
	if len(told) != 3 || !strings.HasPrefix(told[0], "60 s: raised") || !strings.Contains(told[1], "10.0.0.5:443 refuses connections") || told[2] != "255 s: cleared" {
		t.Errorf("%q", told)
	}
}
