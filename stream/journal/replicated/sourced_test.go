package replicated

import (
	"context"
	"flag"
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	"weald/stream/journal/replicated/natstest"
	"weald/stream/record"
)

var cutFor = flag.Duration("cut", 0, "for how long the link to a ward is cut, instead of a hundred entries; an hour is what is promised")

// A ward writes, and a centre follows over a link that is cut: the ward notices nothing of
// that, the centre does, and has all of it afterwards, once and in order; so does one that
// is started again while there is no link.
func TestTheLinkToAWardIsCut(t *testing.T) {
	t.Parallel()
	centre, link := natstest.ServeCentre(t)
	ward := natstest.ServeWard(t, "larch", link)
	w := open(t, t.TempDir(), ward.Connect(), Options{Name: "larch", Replicas: 1})
	if err := w.Claim(t.Context()); err != nil {
		t.Fatal(err)
	}
	n := 0
	write := func() {
		t.Helper()
		n++
		within, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		defer cancel()
		if _, err := w.Append(within, record.Entry{At: 1, Written: 1, Body: record.Fault{Subject: "test", Text: fmt.Sprint(n)}}); err != nil {
			t.Fatal(err)
		}
	}
	for range 20 {
		write()
	}
	conn, dir := centre.Connect(), t.TempDir()
	o := Options{Name: "larch", Replicas: 1, Domain: "larch"}
	var c *Journal
	centre.Eventually("the centre does not reach the ward", func() bool {
		var err error
		if c, err = Open(t.Context(), dir, files, conn, o); err != nil {
			t.Log(err)
		}
		return err == nil
	})
	follows := func(c *Journal) func() bool {
		return func() bool {
			x, _ := w.Head(t.Context())
			y, _ := c.Head(t.Context())
			return x == y
		}
	}
	centre.Eventually("the centre does not follow", follows(c))
	tend := func(c *Journal) (reached *atomic.Bool, stop func()) {
		reached = new(atomic.Bool)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { defer close(done); _ = c.Tend(ctx, conn, reached.Store) }()
		return reached, func() { cancel(); <-done }
	}
	reached, stop := tend(c)
	centre.Eventually("the ward is not seen", reached.Load)
	for _, lasting := range []time.Duration{*cutFor, 0} {
		link.Cut()
		for began := time.Now(); n%100 > 0 || time.Since(began) < lasting; time.Sleep(lasting / 10000) {
			write()
		}
		centre.Eventually("the ward is seen without a link", func() bool { return !reached.Load() })
		if follows(c)() {
			t.Error("what was written came without a link")
		}
		link.Mend()
		mended := time.Now()
		write()
		centre.Eventually("the centre does not catch up", follows(c))
		t.Logf("caught up %v after the link", time.Since(mended).Round(time.Millisecond))
		alike(t, w, c)
	}
	link.Cut()
	write()
	stop()
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	c = open(t, dir, conn, o)
	_, stop = tend(c)
	defer stop()
	link.Mend()
	centre.Eventually("the centre does not catch up after a start", follows(c))
	alike(t, w, c)
}
