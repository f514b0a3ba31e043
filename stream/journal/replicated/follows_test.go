package replicated

import (
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/journal/replicated/natstest"
)

// Who only follows a log of the same servers makes none and writes nothing into it, has all
// that comes, and changes nothing of the log by looking after it.
func TestWhoOnlyFollows(t *testing.T) {
	t.Parallel()
	c := natstest.Serve(t, 1)
	conn, only := c.Connect(), Options{Name: "ward", Replicas: 1, Follows: true}
	dir := t.TempDir()
	if _, err := Open(t.Context(), dir, files, conn, only); !errors.Is(err, jetstream.ErrStreamNotFound) {
		t.Fatalf("without a log it ends with %v", err)
	}
	w := open(t, t.TempDir(), c.Connect(), Options{Name: "ward", Replicas: 1}) // there was none yet
	if err := w.Claim(t.Context()); err != nil {
		t.Fatal(err)
	}
	p := &linked{centre: c, conn: conn, w: w, c: open(t, dir, conn, only)}
	was := w.stream.CachedInfo().Config
	p.write(t, 10)
	if _, err := p.c.Append(t.Context(), journaltest.Mark("noted")); !errors.Is(err, errFollows) {
		t.Errorf("it writes: %v", err)
	}
	if err := p.c.Claim(t.Context()); !errors.Is(err, errFollows) {
		t.Errorf("it claims: %v", err)
	}
	seen := make(chan Sight, 100)
	p.tend(t, func(s Sight) { seen <- s })
	if s := <-seen; !s.Reached || s.Behind != 0 {
		t.Errorf("what is there is seen as %+v", s)
	}
	p.write(t, 5)
	c.Eventually("it does not follow", p.abreast)
	alike(t, p.w, p.c)
	info, err := w.stream.Info(t.Context())
	if err != nil || len(info.Config.Sources) > 0 || len(info.Config.Subjects) != len(was.Subjects) {
		t.Errorf("the log was %+v, and is %+v: %v", was, info, err)
	}
}

// A log that ends before what has come of it is not taken for whole; if that lasts, it was
// lost, and if servers have only just agreed on a leader, it goes on.
func TestALogThatIsShortForAMoment(t *testing.T) {
	for name, c := range map[string]struct {
		lasts time.Duration
		want  error
	}{"until the leader has it": {10 * time.Second, nil}, "for good": {time.Hour, journal.ErrBroken}} {
		dir := t.TempDir()
		synctest.Test(t, func(t *testing.T) {
			f := alone(t, dir)
			servers := &centre{reached: true, there: 6}
			f.js = servers
			f.dealt.Store(7)
			began, ended := time.Now(), make(chan error, 1)
			go func() {
				ended <- f.tend(t.Context(), servers, func(s Sight) {
					if s.Reached && time.Since(began) < c.lasts {
						t.Errorf("%s: it is taken for whole: %+v", name, s)
					}
				})
			}()
			time.Sleep(min(c.lasts, time.Minute))
			select {
			case err := <-ended:
				if c.want == nil || !errors.Is(err, c.want) {
					t.Errorf("%s: it ended with %v", name, err)
				}
			default:
				if c.want != nil {
					t.Errorf("%s: nobody notices", name)
				}
				servers.mu.Lock()
				servers.there = 8
				servers.mu.Unlock()
				f.dealt.Store(8)
				time.Sleep(time.Minute)
				if len(ended) > 0 {
					t.Errorf("%s: it ended with %v", name, <-ended)
				}
			}
			f.end(journal.ErrClosed)
			f.store.Close()
		})
	}
}

// A leader that has not heard of late from so many that they are a majority with it may have
// been superseded, and what it says is the present of nobody.
func TestALeaderWithoutAMajority(t *testing.T) {
	for others := range 5 {
		for silent := range others + 1 {
			c := &jetstream.ClusterInfo{}
			for i := range others {
				p := &jetstream.PeerInfo{Active: lookEvery}
				if i < silent && i%2 == 0 {
					p.Active = 10 * lookEvery
				} else if i < silent {
					p.Offline = true
				}
				c.Replicas = append(c.Replicas, p)
			}
			if most := 2*(others-silent+1) > others+1; agreed(c) != most {
				t.Errorf("of %d others %d are silent: %t", others, silent, !most)
			}
		}
	}
	if !agreed(nil) {
		t.Error("a server that is alone has no majority")
	}
}
