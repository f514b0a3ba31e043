package replicated

import (
	"context"
	"errors"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"pgregory.net/rapid"

	"weald/stream/journal"
)

// A line by which something comes, or over which nothing is missing, never stands; one by which nothing does stands
// after one look, and after twice as many each time that it was taken up in vain, up to sixteen.
func TestALineStandsByTheTwoLogsAlone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var l line
		here, there, was := uint64(0), uint64(0), uint64(0)
		for range rapid.IntRange(1, 40).Draw(t, "looks") {
			had := here
			there += rapid.SampledFrom([]uint64{0, 0, 1, 50}).Draw(t, "written")
			here += rapid.Uint64Range(0, there-here).Draw(t, "came") * rapid.SampledFrom([]uint64{0, 1}).Draw(t, "does come")
			if l.stands(here, there) && (here > had || here >= was) {
				t.Fatalf("it had %d of %d, and has %d of %d, and is taken for one that stands", had, was, here, there)
			}
			was = there
		}
		if l.stands(there, there) {
			t.Fatal("one that has all is taken for one that stands")
		}
		var stood []int
		for look := range 60 {
			if l.stands(there, there+5) {
				stood = append(stood, look)
			}
		}
		if want := []int{1, 3, 7, 15, 31, 47}; !slices.Equal(stood, want) {
			t.Fatalf("one by which nothing comes is taken up anew at looks %v, and should be at %v", stood, want)
		}
	})
}

// A centre is its servers and those of a ward as Tend sees them, without any.
type centre struct {
	jetstream.JetStream

	mu      sync.Mutex
	there   uint64 // of the ward; guarded by mu, as is all below
	here    uint64 // of the copy
	sources []*jetstream.StreamSource
	flows   bool // what is written there comes here
	heals   bool // it does when the source is given back
	reached bool
	resumed int
}

type stream struct {
	jetstream.Stream
	info *jetstream.StreamInfo
}

func (s stream) CachedInfo() *jetstream.StreamInfo { return s.info }

// Stream is that of the ward.
func (c *centre) Stream(context.Context, string) (jetstream.Stream, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.reached {
		return nil, errNoMajority
	}
	return stream{info: &jetstream.StreamInfo{State: jetstream.StreamState{LastSeq: c.there}, Config: jetstream.StreamConfig{
		Storage: jetstream.FileStorage, DenyDelete: true, DenyPurge: true, Duplicates: window,
		Metadata: map[string]string{metaLog: "x", metaPosition: "0", metaOrd: "0"},
	}}}, nil
}

// copied is the stream of the centre.
type copied struct {
	jetstream.Stream
	*centre
}

func (c copied) Info(context.Context, ...jetstream.StreamInfoOpt) (*jetstream.StreamInfo, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return &jetstream.StreamInfo{State: jetstream.StreamState{LastSeq: c.here}, Config: jetstream.StreamConfig{Sources: c.sources}}, nil
}

func (c *centre) UpdateStream(_ context.Context, to jetstream.StreamConfig) (jetstream.Stream, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.sources = to.Sources; len(to.Sources) > 0 {
		if c.resumed++; to.Sources[0].OptStartSeq != c.here+1 {
			return nil, errors.New("it does not go on where it was")
		}
		c.flows = c.heals
	}
	return nil, nil
}

// What becomes of a ward and its centre in four minutes of looks, each two seconds or more after the last.
func TestTendingALine(t *testing.T) {
	const lasting = 4 * time.Minute
	for name, c := range map[string]struct {
		change       func(c *centre, f *follower, full *bool) // after a minute
		silent       bool                                     // the ward writes nothing from then on
		least, most  int                                      // how often the source is given back after that
		seen, behind bool                                     // at the end
	}{
		"all is well": {change: func(*centre, *follower, *bool) {}, seen: true},
		// As when the server dies which had the link and asked for what is missing.
		"nothing comes, though the ward is reached": {change: func(c *centre, _ *follower, _ *bool) { c.flows = false }, least: 1, most: 1, seen: true},
		"nothing comes, whatever is done":           {change: func(c *centre, _ *follower, _ *bool) { c.flows, c.heals = false, false }, least: 4, most: 7, behind: true},
		"the disk of this machine is full":          {change: func(_ *centre, _ *follower, full *bool) { *full = true }, behind: true},
		"nothing comes, and nothing is written":     {change: func(c *centre, _ *follower, _ *bool) { c.flows = false }, silent: true, seen: true},
		"somebody took the source away":             {change: func(c *centre, _ *follower, _ *bool) { c.sources, c.flows = nil, false }, least: 1, most: 1, seen: true},
		"the ward is not reached":                   {change: func(c *centre, _ *follower, _ *bool) { c.reached, c.flows = false, false }},
	} {
		dir := t.TempDir()
		synctest.Test(t, func(t *testing.T) {
			ctx, stop := context.WithCancel(t.Context())
			f := alone(t, dir)
			servers := &centre{flows: true, heals: true, reached: true, there: 10}
			f.options, f.js, f.stream = afar, servers, copied{centre: servers}
			full, silent := false, false
			var serving sync.WaitGroup
			serving.Go(func() {
				for ctx.Err() == nil {
					servers.mu.Lock()
					if !silent {
						servers.there++
					}
					if servers.flows && len(servers.sources) > 0 {
						servers.here = servers.there
					}
					if !full {
						f.dealt.Store(servers.here)
					}
					servers.mu.Unlock()
					time.Sleep(300 * time.Millisecond)
				}
			})
			var last Sight
			var changed, mended time.Time
			ended := make(chan error)
			go func() {
				ended <- f.tend(ctx, servers, func(s Sight) {
					servers.mu.Lock()
					defer servers.mu.Unlock()
					if last = s; !changed.IsZero() && mended.IsZero() && servers.resumed > 1 && s.Behind == 0 {
						mended = time.Now()
					}
				})
			}()
			time.Sleep(time.Minute)
			servers.mu.Lock()
			if servers.resumed != 1 || last.Behind != 0 || !last.Reached {
				t.Errorf("%s: before that it was given back %d times, and the last sight is %+v", name, servers.resumed, last)
			}
			c.change(servers, f, &full)
			changed, silent = time.Now(), c.silent
			servers.mu.Unlock()
			time.Sleep(lasting)
			servers.mu.Lock()
			if n := servers.resumed - 1; n < c.least || n > c.most {
				t.Errorf("%s: the source was given back %d times, and should have been %d to %d times", name, n, c.least, c.most)
			}
			if seen := last.Reached && last.Behind == 0; seen != c.seen || c.behind != (last.Behind > 0) {
				t.Errorf("%s: the last sight is %+v", name, last)
			}
			if took := mended.Sub(changed); c.least == 1 && took > 10*time.Second {
				t.Errorf("%s: the copy has all again after %v: alerts are late by then", name, took)
			}
			servers.mu.Unlock()
			stop()
			if err := <-ended; !errors.Is(err, context.Canceled) {
				t.Errorf("%s: it ended with %v", name, err)
			}
			serving.Wait()
			f.end(journal.ErrClosed)
			f.store.Close()
		})
	}
}
