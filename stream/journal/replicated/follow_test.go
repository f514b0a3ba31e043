package replicated

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/nats-io/nats.go"
	"pgregory.net/rapid"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

func marked(text string) *call { return &call{entries: []record.Entry{journaltest.Mark(text)}} }

// texts are what the marks of a record say, in order.
func texts(t testing.TB, j interface{ journal.Log }) string {
	t.Helper()
	var all []string
	for _, e := range journaltest.Gather(t, j.Entries(context.Background(), journal.Query{})) {
		all = append(all, e.Body.(record.Mark).Text)
	}
	return strings.Join(all, " ")
}

// A part is a message that changes no store, as its call never becomes whole.
func part(seq uint64, header nats.Header) *message {
	h := nats.Header{labelHeader: {label{0, "w", seq, 1, 2}.String()}, logHeader: {"x"}}
	for k, v := range header {
		h[k] = v
	}
	return &message{seq: seq, header: h}
}

// Messages that come twice, late, or with some left out: each is dealt with once and in its turn, and
// where one is missing another server is asked from there on, or, where the first that a
// server sends is not the one that was asked for, following ends. It goes on where it was.
func TestMessagesAreDealtWithInTheirTurn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sent := rapid.SliceOfN(rapid.Uint64Range(1, 9), 0, 12).Draw(t, "numbers")
		next := rapid.Uint64Range(1, 5).Draw(t, "next")
		f := &follower{Journal: &Journal{log: "x", js: newServers()}, partials: partials{}, until: ^uint64(0)}
		f.ctx, f.end = context.WithCancelCause(context.Background())
		want, broken := next, false
		for i, seq := range sent { // what a reader who knows nothing else would take
			if seq == want {
				want++
			} else if seq > want {
				broken = i == 0
				break
			}
		}
		h := &hearing{servers: newServers(), next: 1, stop: make(chan struct{})}
		for _, seq := range sent {
			h.again = append(h.again, part(seq, nil))
		}
		h.Stop()
		got := next
		err := f.hear(h, &got)
		if got != want || errors.Is(err, journal.ErrBroken) != broken || (err == nil) == broken {
			t.Fatalf("of %v from %d on it went to %d with %v, and should have to %d", sent, next, got, err, want)
		}
		if want > next && f.dealt.Load() != want-1 {
			t.Fatalf("it says that it has dealt with %d, and has with %d", f.dealt.Load(), want-1)
		}
	})
}

// What a message says of itself in its headers is held against what is known: of another log,
// without a label or with one that is none, brought from elsewhere under another number.
// Nothing of it is taken in, and it is what is asked for at the next start.
func TestHeadersThatAreWrong(t *testing.T) {
	for name, c := range map[string]struct {
		header nats.Header
		domain string
		want   error
	}{
		"right":                     {},
		"of no log":                 {header: nats.Header{logHeader: nil}}, // as former versions wrote
		"of another log":            {header: nats.Header{logHeader: {"y"}}, want: journal.ErrForeign},
		"no label":                  {header: nats.Header{labelHeader: nil}, want: journal.ErrBroken},
		"brought":                   {header: nats.Header{sourceHeader: {"weald-ward:abc 1 > >"}}, domain: "larch"},
		"brought as another number": {header: nats.Header{sourceHeader: {"weald-ward:abc 2 > >"}}, domain: "larch", want: journal.ErrBroken},
		"brought from nowhere":      {domain: "larch", want: journal.ErrBroken},
	} {
		f := &follower{Journal: &Journal{log: "x", js: newServers(), options: Options{Domain: c.domain}}, partials: partials{}, until: ^uint64(0)}
		f.ctx, f.end = context.WithCancelCause(context.Background())
		h := &hearing{servers: newServers(), next: 1, again: []*message{part(1, c.header)}, stop: make(chan struct{})}
		h.Stop()
		next := uint64(1)
		if err := f.hear(h, &next); !errors.Is(err, c.want) || (err == nil) != (c.want == nil) || (next == 2) != (err == nil) {
			t.Errorf("%s: %v, and goes on with %d", name, err, next)
		}
		if taken := len(f.partials) > 0; taken != (c.want == nil) {
			t.Errorf("%s: taken in is %v", name, taken)
		}
	}
	for _, text := range []string{"", "1.w.1.1", "1.w.1.1.1.1", "1..1.1.1", "-1.w.1.1.1", "1.w.x.1.1", "1.w.1.0.1", "1.w.1.2.1", "1.w.1.1.65537", "18446744073709551616.w.1.1.1"} {
		if l, err := parseLabel(text); !errors.Is(err, record.ErrDamaged) {
			t.Errorf("%q is the label %+v, %v", text, l, err)
		}
	}
}

// A body that cannot be read ends following with the reason, and leaves the store where it
// was: whoever can read it begins with that message. So it is for one that belongs to a turn
// which has gone, as nobody can know without reading it what it is.
func TestBodiesThatCannotBeRead(t *testing.T) {
	f := alone(t, t.TempDir())
	if err := f.say(t, 1, label{0, "w", 1, 1, 1}, marked("one")); err != nil {
		t.Fatal(err)
	}
	was := f.at
	whole, err := marked("two").append(nil)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		term uint64
		body []byte
		want error
	}{
		"empty":           {0, nil, journal.ErrBroken},
		"cut":             {0, whole[:len(whole)-1], journal.ErrBroken},
		"newer":           {0, append([]byte{callVersion + 1}, whole[1:]...), record.ErrNewer},
		"newer, in vain":  {7, append([]byte{callVersion + 1}, whole[1:]...), record.ErrNewer},
		"of no version":   {0, append([]byte{0}, whole[1:]...), journal.ErrBroken},
		"with a tail":     {0, append(whole[:len(whole):len(whole)], 1), journal.ErrBroken},
		"damaged, a turn": {7, whole[:len(whole)-1], journal.ErrBroken},
	} {
		err := f.message(2, label{c.term, "w", 2, 1, 1}.String(), c.body)
		if !errors.Is(err, c.want) || f.at != was || errors.Is(err, journal.ErrBroken) && c.want != journal.ErrBroken {
			t.Errorf("%s: %v, and it is at %+v", name, err, f.at)
		}
	}
	if err := errors.Join(f.say(t, 2, label{0, "w", 2, 1, 1}, marked("two")), f.say(t, 1, label{0, "w", 1, 1, 1}, marked("one"))); err != nil {
		t.Fatal(err)
	}
	if got := texts(t, f); got != "one two" {
		t.Errorf("it has %q", got)
	}
}

// A moody store answers as often as it is told with an error, and keeps nothing then.
type moody struct {
	*sqlite.Store
	err   error
	times int
	asked chan struct{} // told of each answer that is an error
}

func (m *moody) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	if m.times--; m.times >= 0 {
		m.asked <- struct{}{}
		return 0, m.err
	}
	return m.Store.Append(ctx, entries...)
}

// A disk without room holds up what comes, in its turn, and says so to whoever looks; nothing is passed
// over: neither when there is room again, nor when the program ends before there is, and begins
// again.
func TestNothingIsPassedOverForWantOfRoom(t *testing.T) {
	for name, ends := range map[string]bool{"there is room again": false, "it ends before": true} {
		dir := t.TempDir()
		synctest.Test(t, func(t *testing.T) {
			s := newServers()
			f := alone(t, dir)
			m := &moody{Store: f.store, err: journal.ErrFull, times: 3, asked: make(chan struct{}, 100)}
			if f.into = m; ends {
				m.times = 1 << 20
				m.asked = make(chan struct{}, m.times)
			}
			block := journaltest.Block("hub/mat", 1, 1, 3, noon)
			for i, c := range []*call{{blocks: []record.Block{block}}, marked("held"), marked("behind")} {
				body, err := c.append(nil)
				if err != nil {
					t.Fatal(err)
				}
				header := nats.Header{labelHeader: {label{0, "w", uint64(i), 1, 1}.String()}, logHeader: {"x"}}
				s.messages = append(s.messages, &message{seq: uint64(i + 1), header: header, data: body})
			}
			f.with(s, "me")
			<-m.asked
			synctest.Wait()
			if why := f.Trouble(); why != journal.ErrFull.Error() || f.dealt.Load() != 1 {
				t.Errorf("%s: it has dealt with %d, and its trouble is %q", name, f.dealt.Load(), why)
			}
			if !ends {
				for f.dealt.Load() < 3 {
					time.Sleep(time.Second)
				}
			}
			f.end(journal.ErrClosed)
			<-f.done
			if why := f.Trouble(); !ends && why != "" {
				t.Errorf("with room its trouble is %q", why)
			}
			f.store.Close()
			again := alone(t, dir).with(s, "me")
			for again.dealt.Load() < 3 {
				time.Sleep(time.Second)
			}
			if got := texts(t, again); got != "held behind" {
				t.Errorf("%s: at last it has %q", name, got)
			}
			again.end(journal.ErrClosed)
			<-again.done
			again.store.Close()
		})
	}
}

// A store that says of a call that the disk has failed ends following, and is told nothing more; the
// reason is the end of the Journal's context.
func TestABrokenStoreEndsFollowing(t *testing.T) {
	f := alone(t, t.TempDir())
	m := &moody{Store: f.store, err: fmt.Errorf("page 7: %w", journal.ErrBroken), times: 1, asked: make(chan struct{}, 1)}
	f.into = m
	if err := f.say(t, 1, label{0, "w", 1, 1, 1}, marked("one")); !errors.Is(err, errEnded) {
		t.Errorf("it goes on after %v", err)
	}
	if err := context.Cause(f.Ended()); !errors.Is(err, journal.ErrBroken) || !strings.Contains(err.Error(), "page 7") {
		t.Errorf("it ended with %v", err)
	}
	if _, err := f.Append(t.Context(), journaltest.Mark("two")); !errors.Is(err, journal.ErrBroken) {
		t.Errorf("a call after that: %v", err)
	}
}
