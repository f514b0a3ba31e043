package replicated

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"sync/atomic"
	"testing"
	"time"

	"weald/stream/journal"
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
	tend := func(c *Journal) (seen *atomic.Bool, stop func()) {
		seen = new(atomic.Bool)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() {
			defer close(done)
			_ = c.Tend(ctx, conn, func(s Sight) { seen.Store(s.Reached && s.Behind == 0) })
		}()
		return seen, func() { cancel(); <-done }
	}
	seen, stop := tend(c)
	centre.Eventually("the ward is not seen", seen.Load)
	for _, lasting := range []time.Duration{*cutFor, 0} {
		link.Cut()
		for began := time.Now(); n%100 > 0 || time.Since(began) < lasting; time.Sleep(lasting / 10000) {
			write()
		}
		centre.Eventually("the ward is seen without a link", func() bool { return !seen.Load() })
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

// What the ward's servers had let go of before there was a link is missed, not passed over;
// who begins with a copy of the ward's record goes on from there.
func TestWhatNeverCameIsMissed(t *testing.T) {
	t.Parallel()
	centre, link := natstest.ServeCentre(t)
	ward := natstest.ServeWard(t, "larch", link)
	dir, here := t.TempDir(), Options{Name: "larch", Replicas: 1}
	w := open(t, dir, ward.Connect(), here)
	for n := range 20 {
		if _, err := w.Append(t.Context(), record.Entry{At: 1, Written: 1, Body: record.Fault{Subject: "test", Text: fmt.Sprint(n)}}); err != nil {
			t.Fatal(err)
		}
	}
	info, err := w.stream.Info(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, most := range []int64{5, -1} { // as age would have it
		c := info.Config
		c.MaxMsgs = most
		if _, err := w.js.UpdateStream(t.Context(), c); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	copied := t.TempDir()
	if err := os.CopyFS(copied, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	w = open(t, dir, ward.Connect(), here)
	if _, err := w.Append(t.Context(), record.Entry{At: 1, Written: 1, Body: record.Fault{Subject: "test", Text: "after it"}}); err != nil {
		t.Fatal(err)
	}
	there := Options{Name: "larch", Replicas: 1, Domain: "larch"}
	conn := centre.Connect()
	var opened error
	centre.Eventually("the centre does not reach the ward", func() bool {
		_, opened = Open(t.Context(), t.TempDir(), files, conn, there)
		return errors.Is(opened, journal.ErrBroken)
	})
	c := open(t, copied, conn, there)
	centre.Eventually("the centre does not go on from a copy", func() bool {
		x, _ := w.Head(t.Context())
		y, _ := c.Head(t.Context())
		return x == y && x.Position == 21
	})
	alike(t, w, c)
	for source, broken := range map[string]bool{
		"weald-larch:abc 7 > >": false, "weald-larch:abc 9 > >": true, "weald-larch:abc seven": true, "weald-larch": true, "": true,
	} {
		if err := sameNumber(7, source); errors.Is(err, journal.ErrBroken) != broken {
			t.Errorf("%q: %v", source, err)
		}
	}
}
