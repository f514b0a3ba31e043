package replicated

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/journal/replicated/natstest"
	"weald/stream/record"
)

// linked is a ward that writes, and a centre that has a copy of all that it has written.
type linked struct {
	centre, ward *natstest.Cluster
	way          *natstest.Link
	conn         *nats.Conn // to the centre
	w, c         *Journal
	dir          string // of c
}

var afar = Options{Name: "larch", Replicas: 1, Domain: "larch"}

func linkedUp(t *testing.T) *linked {
	t.Helper()
	p := &linked{dir: t.TempDir()}
	p.centre, p.way = natstest.ServeCentre(t)
	p.ward = natstest.ServeWard(t, "larch", p.way)
	p.w = open(t, t.TempDir(), p.ward.Connect(), Options{Name: "larch", Replicas: 1})
	if err := p.w.Claim(t.Context()); err != nil {
		t.Fatal(err)
	}
	p.write(t, 10)
	p.conn = p.centre.Connect()
	p.centre.Eventually("the centre does not reach the ward", func() (done bool) {
		var err error
		p.c, err = Open(t.Context(), p.dir, files, p.conn, afar)
		return err == nil
	})
	t.Cleanup(func() { p.c.Close() })
	p.centre.Eventually("the centre does not follow", p.abreast)
	return p
}

func (p *linked) write(t *testing.T, n int) {
	t.Helper()
	for range n {
		if _, err := p.w.Append(t.Context(), journaltest.Mark("noted")); err != nil {
			t.Fatal(err)
		}
	}
}

func (p *linked) abreast() bool {
	x, _ := p.w.Head(context.Background())
	y, _ := p.c.Head(context.Background())
	return x == y
}

// tend tends the centre's copy until the test ends, or for as long as that goes; its error
// is given then.
func (p *linked) tend(t *testing.T, tell func(Sight)) (ended <-chan error, stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	end, done := make(chan error, 1), make(chan struct{})
	go func() { defer close(done); end <- p.c.Tend(ctx, p.conn, tell) }()
	stop = func() { cancel(); <-done }
	t.Cleanup(stop)
	return end, stop
}

// Whenever a ward is said to be seen, the copy has all that the ward had written when it was
// asked; while the files of the centre take nothing it is reached, and said to be behind.
func TestSeenIsWhole(t *testing.T) {
	t.Parallel()
	p := linkedUp(t)
	var mu sync.Mutex
	written := map[record.Position]time.Time{} // by the ward, when it was sure of that
	var seen, behind int
	var last Sight
	p.tend(t, func(s Sight) {
		mu.Lock()
		defer mu.Unlock()
		last = s
		if s.Behind > 0 {
			behind++
		}
		if !s.Reached || s.Behind > 0 {
			return
		}
		seen++
		for position, at := range written {
			if at.Before(s.At) && position > s.Head.Position {
				t.Errorf("seen at %v with entry %d, and entry %d had been written at %v", s.At, s.Head.Position, position, at)
			}
		}
	})
	ctx, stop := context.WithCancel(t.Context())
	var writing sync.WaitGroup
	defer writing.Wait()
	defer stop()
	writing.Go(func() {
		for ctx.Err() == nil {
			position, err := p.w.Append(ctx, journaltest.Mark("noted"))
			if err == nil {
				mu.Lock()
				written[position] = time.Now()
				mu.Unlock()
			}
			time.Sleep(time.Millisecond)
		}
	})
	more := func(what string, of *int) {
		t.Helper()
		mu.Lock()
		was := *of
		mu.Unlock()
		p.centre.Eventually(what, func() bool {
			mu.Lock()
			defer mu.Unlock()
			return *of > was
		})
	}
	more("the ward is not seen", &seen)
	p.c.calls.mu.Lock() // so that the copy stands still, as with a full disk
	held := sync.OnceFunc(p.c.calls.mu.Unlock)
	defer held()
	more("nothing is missing, though nothing is taken", &behind)
	mu.Lock()
	if !last.Reached {
		t.Errorf("it is reached: %+v", last)
	}
	mu.Unlock()
	held()
	more("the ward is not seen again", &seen)
	p.way.Cut()
	time.Sleep(lookEvery)
	p.way.Mend()
	more("the ward is not seen after the link was cut", &seen)
}

// A source that was taken away, by somebody who did not live to give it back, is given back
// by whoever comes then, and by whoever is there.
func TestALostSourceIsGivenBack(t *testing.T) {
	t.Parallel()
	p := linkedUp(t)
	lose := func() {
		t.Helper()
		info, err := p.c.stream.Info(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		c := info.Config
		c.Sources = nil
		if _, err := p.c.js.UpdateStream(t.Context(), c); err != nil {
			t.Fatal(err)
		}
	}
	lose()
	p.write(t, 5)
	p.tend(t, func(Sight) {})
	p.centre.Eventually("it is not given back by who comes", p.abreast)
	lose()
	p.write(t, 5)
	p.centre.Eventually("it is not given back by who is there", p.abreast)
	alike(t, p.w, p.c)
}

// The server of a centre starts anew while there is no link for a moment, and asks for what is missing
// in vain: it asks again after half a minute. Who tends the copy has reached the ward whenever
// it looked, and lets the copy go on.
func TestALineThatNobodySawCut(t *testing.T) {
	t.Parallel()
	p := linkedUp(t)
	seen, goOn := make(chan struct{}), make(chan struct{})
	var first sync.Once
	p.tend(t, func(s Sight) {
		if s.Reached && s.Behind == 0 {
			first.Do(func() { close(seen); <-goOn })
		}
	})
	release := sync.OnceFunc(func() { close(goOn) })
	defer release()
	<-seen
	had := p.c.dealt.Load() // when the source was given back to begin with
	p.write(t, 1)
	p.centre.Eventually("the centre does not follow", p.abreast)
	p.way.Cut() // who tends does nothing now
	p.centre.Stop(0)
	p.centre.Start(0)
	began := time.Now()
	time.Sleep(time.Second) // it asks within a fifth of that
	p.way.Mend()
	p.write(t, 5)
	there, err := jetstream.NewWithDomain(p.conn, "larch")
	if err != nil {
		t.Fatal(err)
	}
	p.centre.Eventually("the ward is not reached", func() bool {
		_, err := there.Stream(t.Context(), afar.stream())
		return err == nil
	})
	release()
	p.centre.Eventually("it does not go on", p.abreast)
	info, err := p.c.stream.Info(t.Context())
	switch {
	case err != nil:
		t.Fatal(err)
	case info.Config.Sources[0].OptStartSeq > had+1: // the source was given back
	case time.Since(began) < 25*time.Second:
		t.Log("the server was slow, and asked when there was a link: nothing is told")
	default:
		t.Error("the server has gone on by itself")
	}
	alike(t, p.w, p.c)
}

// A ward whose log was made anew, under the old name and with numbers that the old one had
// too, is not taken for the one that was there: whoever asks it says so, and whoever gets a
// message of it takes it for what it is.
func TestALogThatWasMadeAnew(t *testing.T) {
	t.Parallel()
	p := linkedUp(t)
	head, err := p.c.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	p.way.Cut()
	if err := p.w.Close(); err != nil {
		t.Fatal(err)
	}
	p.ward.Stop(0)
	p.ward = natstest.ServeWard(t, "larch", p.way) // with nothing
	p.w = open(t, t.TempDir(), p.ward.Connect(), Options{Name: "larch", Replicas: 1})
	for range 3 { // so that the next to claim does it in a turn that the centre waits for
		if err := p.w.Claim(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	p.write(t, 30)
	p.way.Mend()
	ended, stop := p.tend(t, func(s Sight) {
		if s.Reached {
			t.Errorf("it is taken for the ward that was there: %+v", s)
		}
	})
	select {
	case err := <-ended:
		if !errors.Is(err, journal.ErrForeign) {
			t.Errorf("it ended with %v", err)
		}
	case <-time.After(time.Minute):
		t.Error("nobody notices")
	}
	stop()
	// As if it had come before anybody asked: the source goes on at the next number.
	if err := p.c.resume(t.Context()); err != nil {
		t.Fatal(err)
	}
	select {
	case <-p.c.Ended().Done():
		if err := context.Cause(p.c.Ended()); !errors.Is(err, journal.ErrForeign) {
			t.Errorf("following ended with %v", err)
		}
	case <-time.After(time.Minute):
		t.Error("nobody notices a message")
	}
	if now, err := p.c.Head(t.Context()); now != head || err != nil {
		t.Errorf("the copy had %+v, and has %+v with something of the other: %v", head, now, err)
	}
}

// A ward that was set back, with its disk, has less than what came from there.
func TestALogThatLostItsEnd(t *testing.T) {
	for name, c := range map[string]struct {
		log  string
		last uint64
		want error
	}{
		"abreast": {"x", 7, nil}, "ahead": {"x", 9, nil}, "set back": {"x", 6, journal.ErrBroken}, "another": {"y", 9, journal.ErrForeign},
	} {
		j := &Journal{log: "x", options: afar}
		there := &jetstream.StreamInfo{State: jetstream.StreamState{LastSeq: c.last}, Config: jetstream.StreamConfig{
			Storage: jetstream.FileStorage, DenyDelete: true, DenyPurge: true, Duplicates: window,
			Metadata: map[string]string{metaLog: c.log, metaPosition: "0", metaOrd: "0"},
		}}
		if err := j.sameLog(there, 7); !errors.Is(err, c.want) || (err == nil) != (c.want == nil) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
