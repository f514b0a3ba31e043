package hostile

import (
	"context"
	"fmt"
	"net"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"weald/ingest"
	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/sample"
	"weald/ingest/tcp"
	"weald/ingest/tcp/wire/wiretest"
)

// The ward of this test lives faster than we do, so that ten seconds of it pass
// in half of one.
const (
	wardSpeed = 20
	wardRate  = 10 // scans per second of the ward
	wardCells = 64
)

// A gateway sends scans of its sources over TCP, to one peer, until the test
// ends.
type gateway struct {
	listener net.Listener
	began    time.Time
	sources  []*device
}

// A device is one source: what it sent and when, and how long that took to
// become a scan.
type device struct {
	number uint16
	every  time.Duration // in real time
	seq    uint32
	sent   []atomic.Int64 // by sequence number: when, since the gateway began

	scans  atomic.Int64
	delays []time.Duration // owned by the consumer
}

func (g *gateway) run(t *testing.T, ctx context.Context) {
	conn, err := g.listener.Accept()
	if err != nil {
		t.Error(err)
		return
	}
	defer conn.Close()
	var mu sync.Mutex // of the connection
	var all sync.WaitGroup
	for _, d := range g.sources {
		all.Go(func() {
			cells := make([]float64, wardCells)
			tick := time.NewTicker(d.every)
			defer tick.Stop()
			for {
				select {
				case <-tick.C:
				case <-ctx.Done():
					return
				}
				// A ticker drops what is late; a device does not.
				for due := int(time.Since(g.began) / d.every); int(d.seq) < min(due, len(d.sent)-1); d.seq++ {
					ms := uint32(time.Since(g.began) * wardSpeed / time.Millisecond)
					b, err := frame.AppendWire(nil, &frame.Frame{Kind: frame.Readings, Source: d.number, Seq: d.seq, Millis: ms, Readings: cells}, frame.U12)
					if err != nil {
						t.Error(err)
						return
					}
					d.sent[d.seq].Store(int64(time.Since(g.began)))
					mu.Lock()
					_, err = conn.Write(b)
					mu.Unlock()
					if err != nil {
						return // the supervisor went first
					}
				}
			}
		})
	}
	all.Wait()
}

// A source that sends ten times what it should is named, and slows nobody else:
// neither the other bridges nor its neighbour behind the same one.
func TestAFloodSlowsNobodyElse(t *testing.T) {
	const bridges = 6
	began := time.Now()
	ctx, cancel := context.WithCancel(context.Background())
	var all sync.WaitGroup
	defer all.Wait()
	defer cancel()

	// One consumer behind a bounded queue, as a daemon has it.
	type arrival struct {
		d   *device
		seq uint32
	}
	queue := make(chan arrival, 64)
	all.Go(func() {
		for {
			select {
			case a := <-queue:
				a.d.delays = append(a.d.delays, time.Since(began)-time.Duration(a.d.sent[a.seq].Load()))
				a.d.scans.Add(1)
			case <-ctx.Done():
				return
			}
		}
	})

	var sups []*ingest.Supervisor
	var devices []*device
	for i := range bridges {
		l := wiretest.Listen(t)
		g := &gateway{listener: l, began: began}
		id := fmt.Sprint("hub-", i)
		b := ingest.Bridge{ID: id, Link: &tcp.Dial{Address: l.Addr().String()}, Format: ingest.Format{Kind: ingest.Packed}}
		for j := range 2 {
			d := &device{number: uint16(j), every: time.Second / wardRate / wardSpeed, sent: make([]atomic.Int64, 1<<17)}
			if i == 0 && j == 0 {
				d.every /= 10
			}
			g.sources, devices = append(g.sources, d), append(devices, d)
			b.Sources = append(b.Sources, ingest.Source{
				Number: uint16(j), ID: fmt.Sprint(id, "/mat-", j), Index: 2*i + j, Channels: wardCells, Rate: wardRate, StaleAfter: time.Second, Unit: calib.Counts,
			})
		}
		sup, err := ingest.New(b, ingest.Options{
			Now: func() sample.Instant { return sample.At(began).Add(time.Since(began) * wardSpeed) }, Speed: wardSpeed,
			Out: func(s *sample.Scan) {
				select {
				case queue <- arrival{g.sources[s.Source%2], s.Seq}:
				case <-ctx.Done():
				}
			},
		})
		if err != nil {
			t.Fatal(err)
		}
		sups = append(sups, sup)
		all.Go(func() { g.run(t, ctx) })
		all.Go(func() { _ = sup.Run(ctx) }) // returns nil
	}

	eventually(t, 20*time.Second, func() error {
		s := sups[0].Status()
		if !strings.HasPrefix(s.Trouble, "source hub-0/mat-0 sends ") || !strings.HasSuffix(s.Trouble, " scans a second, configured are 10") {
			return fmt.Errorf("the flood is not named: %q", s.Trouble)
		}
		return nil
	})
	t.Logf("named after %v of the ward's time: %s", time.Since(began)*wardSpeed, sups[0].Status().Trouble)
	for i, sup := range sups {
		s := sup.Status()
		if i > 0 && strings.Contains(s.Trouble, "configured are") {
			t.Errorf("%s is named too: %s", s.Bridge, s.Trouble)
		}
		for _, src := range s.Sources {
			if src.Gaps > 0 || s.BadFrames() > 0 {
				t.Errorf("%s lost %d frames, %d refused", src.ID, src.Gaps, s.BadFrames())
			}
		}
	}
	cancel()
	all.Wait()
	for i, d := range devices {
		if len(d.delays) == 0 {
			t.Errorf("nothing came of source %d", i)
			continue
		}
		slices.Sort(d.delays)
		median, late := d.delays[len(d.delays)/2], d.delays[len(d.delays)*9/10]
		t.Logf("source %2d: %5d scans, delayed by %v in the median, one in ten by %v or more", i, len(d.delays), median, late)
		// A source that had to wait for the flood would be seconds behind.
		if late > 500*time.Millisecond {
			t.Errorf("source %d is %v late", i, late)
		}
	}
}
