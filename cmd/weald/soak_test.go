package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"weald/ingest/frame"
	"weald/ingest/sample"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/audit"
	"weald/stream/journal"
	"weald/stream/record"
)

var soak = flag.Duration("soak", 0, "for how long, of its own time, the daemon of TestSoak runs, at twenty times the speed")

const soakSpeed = 20

// soakConfig has two gateways, which send each frame until it is acknowledged, and every
// version another limit.
func soakConfig(data, port string, version int) string {
	return fmt.Sprintf(`
data: %s
web: {listen: "127.0.0.1:0"}
mqtt: {listen: %q}
bridges:
`+gatewayConfig("hub-a", "leg", 5)+gatewayConfig("hub-b", "leg", 5)+`places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub-a/leg/0]}, {id: calf, channels: [hub-a/leg/1]}]}
  - {id: bench-2, kind: wrap, sites: [{id: ankle, channels: [hub-b/leg/0]}, {id: calf, channels: [hub-b/leg/1]}]}
rules:
  - {id: tight, limit: {watch: ankle.pressure, above: 60, deadband: 3}, on_delay: 20s, off_delay: 10s, priority: medium}
  - {id: other, limit: {watch: calf.pressure, above: %d}, on_delay: 10s, priority: low}
  - {id: long, limit: {watch: ankle.pressure, above: 1}, on_delay: 10m, forget_after: 24h, priority: low}
`, data, port, 40+5*(version%5))
}

// A soaker is a gateway in a world that runs fast: its cable is pulled now and then.
type soaker struct {
	bridge string
	seq    uint32
	acked  []sample.Instant // of each frame that was acknowledged, when
	pulled int
	next   *frame.Frame
}

// run sends to whichever daemon is there, until ctx ends.
func (g *soaker) run(ctx context.Context, t *testing.T, w world, port string, seed uint64) {
	rng := rand.New(rand.NewPCG(seed, 3))
	for ctx.Err() == nil {
		p, err := dialPublisher(t, port, g.bridge)
		if err != nil {
			time.Sleep(50 * time.Millisecond)
			continue
		}
		for pull := time.Now().Add(time.Duration(1+rng.IntN(6)) * time.Second); ctx.Err() == nil; {
			if g.next == nil { // one that was not acknowledged is sent again as it was
				pressure := math.Round(50 + 30*math.Sin(float64(g.seq)/700) + 5*math.Sin(float64(g.seq)/31))
				g.next = &frame.Frame{Kind: frame.Readings, Source: 1, Seq: g.seq, Millis: uint32(w.now().Sub(w.at(w.began)).Milliseconds()), Readings: []float64{pressure, pressure - 5}}
			}
			if p.publish(g.next, false) != nil {
				break
			}
			g.acked = append(g.acked, w.now())
			g.next = nil
			g.seq++
			if time.Now().After(pull) {
				g.pulled++
				break
			}
			time.Sleep(200 * time.Millisecond / soakSpeed)
		}
		p.client.Disconnect(0)
	}
}

// looks loads pages and answers, as many people do, until the daemon is gone.
func looks(address string, seed uint64) (n int) {
	rng := rand.New(rand.NewPCG(seed, 5))
	client := http.Client{Timeout: 20 * time.Second}
	paths := []string{"/", "/metrics", "/api/v1/places", "/api/v1/alerts", "/api/v1/alerts/changes", "/api/v1/bridges", "/readyz",
		"/api/v1/places/bench-1/signals?name=ankle.pressure&points=500", "/api/v1/openapi.json", "/api/v1/record"}
	for ; ; n++ {
		r, err := client.Get(address + paths[rng.IntN(len(paths))])
		if err != nil {
			return n
		}
		_, _ = io.Copy(io.Discard, r.Body)
		r.Body.Close()
		if r.StatusCode >= http.StatusInternalServerError && r.StatusCode != http.StatusServiceUnavailable {
			return -1
		}
		time.Sleep(time.Duration(rng.IntN(40)) * time.Millisecond)
	}
}

// An hour at twenty times the speed, in which cables are pulled, pages loaded, alerts
// acknowledged, configurations changed, the disk filled and the daemon killed, at random.
// Then the books balance: every frame that was acknowledged is kept, once, unless the
// record itself says that it took no readings then; every deed that was answered is kept,
// once; and the changes of alerts are just those that an engine finds which is given the
// record.
func TestSoak(t *testing.T) {
	if *soak == 0 {
		t.Skip("by hand: -soak 1h, with the race detector, takes three minutes")
	}
	disk := smallDisk(t, "96m")
	if disk == "" {
		t.Skip("no small file system can be mounted here")
	}
	w := newWorld(soakSpeed)
	port, data := wiretest.Vacant(t), filepath.Join(disk, "record")
	name := write(t, "ward.yaml", soakConfig(data, port, 0))
	secrets(t, name, "hub-a", "hub-b")
	ctx, stop := context.WithCancel(t.Context())
	var sending sync.WaitGroup
	gateways := []*soaker{{bridge: "hub-a"}, {bridge: "hub-b"}}
	for i, g := range gateways {
		sending.Go(func() { g.run(ctx, t, w, port, uint64(i)) })
	}
	rng := rand.New(rand.NewPCG(11, 13))
	var done []deed
	var acted atomic.Int32
	rounds, loaded, filled := 0, 0, 0
	for began := time.Now(); time.Since(began) < *soak/soakSpeed; rounds++ {
		v := launchIn(t, w, name)
		busy := make(chan []deed, 2)
		seen := make(chan int, 2)
		for n, code := range []string{"K-07", "K-08"} {
			seed := uint64(2*rounds + n)
			go func() { busy <- people(v.address, code, seed, &acted) }()
			go func() { seen <- looks(v.address, seed) }()
		}
		pages := look(t, v.address)
		if err := os.WriteFile(name, []byte(soakConfig(data, port, rounds+1)), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := v.cmd.Process.Signal(syscall.SIGHUP); err != nil {
			t.Fatal(err)
		}
		eventually(t, longEnough, func() error {
			if !strings.Contains(v.stderr.String(), "the configuration is in force") {
				return fmt.Errorf("it is not reloaded: %s", v.stderr.String())
			}
			return nil
		})
		if rng.IntN(3) == 0 {
			ballast := filepath.Join(disk, "ballast")
			var st unix.Statfs_t
			if err := unix.Statfs(disk, &st); err != nil {
				t.Fatal(err)
			}
			if room := int64(st.Bavail)*st.Bsize - 64<<10; room > 0 {
				_ = os.WriteFile(ballast, make([]byte, room), 0o600)
			}
			time.Sleep(time.Second)
			if err := os.Remove(ballast); err != nil {
				t.Fatal(err)
			}
			filled++
		}
		time.Sleep(time.Duration(1000+rng.IntN(6000)) * time.Millisecond)
		if rng.IntN(4) == 0 {
			v.end()
		} else {
			v.kill()
		}
		done = append(append(done, <-busy...), <-busy...)
		for range 2 {
			n := <-seen
			if n < 0 {
				t.Errorf("round %d: an answer of the daemon's own fault", rounds)
			}
			loaded += max(n, 0)
		}
		<-pages.done
		if said := v.stderr.String(); strings.Contains(said, "DATA RACE") || strings.Contains(said, "panic:") {
			t.Fatalf("round %d: %s", rounds, said)
		}
	}
	stop()
	sending.Wait()
	v := launchIn(t, w, name) // and ends in order
	v.end()

	store, closed := recordIn(t, data)
	inOrder(t, store)
	if r, err := audit.Verify(t.Context(), store); err != nil || len(r.Findings) > 0 {
		t.Errorf("the audit's chain does not hold: %v %+v", err, r)
	}
	full := timesFull(t, store)
	got := changesIn(t, store)
	want := judgedByAllVersions(t, store, filepath.Dir(name))
	if !slices.Equal(got, want) {
		t.Errorf("%d changes are kept, and %d are found again:\n%s", len(got), len(want), firstDifference(got, want))
	}
	own := ownAlternate(t, store)
	closed()
	keptDeeds(t, data, done)
	acked, refused := 0, 0
	for _, g := range gateways {
		seqs := seqsKept(t, data, g.bridge+"/leg")
		for seq, at := range g.acked {
			switch n := seqs[uint32(seq)]; {
			case n > 1:
				t.Errorf("frame %d of %s is kept %d times", seq, g.bridge, n)
			case n == 0 && full.at(at):
				refused++
			case n == 0:
				t.Errorf("frame %d of %s was acknowledged at %v, and is not kept", seq, g.bridge, at)
			}
		}
		acked += len(g.acked)
		for seq := range seqs {
			if int(seq) > len(g.acked) { // the one after the last may have come without its sender knowing
				t.Errorf("frame %d of %s is kept, and was never sent", seq, g.bridge)
			}
		}
	}
	t.Logf("%v at %d times the speed: %d lives, %d times a full disk, cables pulled %d times, %d pages and answers, %d deeds; %d frames acknowledged = %d kept + %d that the record says it could not take; %d changes of alerts, the same judged again, and %d of the daemon's own",
		*soak, soakSpeed, rounds, filled, gateways[0].pulled+gateways[1].pulled, loaded, len(done), acked, acked-refused, refused, len(got), own)
	if acked < 1000 || len(done) < 50 || len(got) < 50 {
		t.Error("too few to prove anything")
	}
}

// ownAlternate fails unless every alert of the daemon's own that a record has is raised,
// and over, in turn, whatever lives the daemon had. Nobody judges those again: they are all
// that is alerts of a record beside the changes that an engine finds. It counts them.
func ownAlternate(t *testing.T, log journal.Log) (n int) {
	t.Helper()
	stands := map[string]bool{}
	for e, err := range log.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindFault}}) {
		if err != nil {
			t.Fatal(err)
		}
		f := e.Body.(record.Fault)
		if _, own := f.Alert(e.At); !own {
			continue
		}
		if stands[f.Subject] != f.Over {
			t.Errorf("entry %d: over is %t of what stands: %t: %s: %s", e.Position, f.Over, stands[f.Subject], f.Subject, f.Text)
		}
		stands[f.Subject] = !f.Over
		n++
	}
	return n
}

// changesIn are the changes of alerts of a record, in their order.
func changesIn(t *testing.T, log journal.Log) (lines []string) {
	t.Helper()
	for e, err := range log.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindTransition}}) {
		if err != nil {
			t.Fatal(err)
		}
		ev := e.Body.(record.Transition).Event
		lines = append(lines, changeLine(&ev))
	}
	return lines
}

func firstDifference(got, want []string) string {
	for i := range max(len(got), len(want)) {
		var a, b string
		if i < len(got) {
			a = got[i]
		}
		if i < len(want) {
			b = want[i]
		}
		if a != b {
			return fmt.Sprintf("number %d\nkept:        %s\nfound again: %s", i, a, b)
		}
	}
	return ""
}

// A dryness is a time in which a record took no readings.
type dryness struct{ from, to sample.Instant }

type drynesses []dryness

// noticed is how much earlier or later, of the daemon's time, readings may be missing than
// the record says: it notices with the next write, a second of the host's later.
const noticed = 3 * soakSpeed * time.Second

func (s drynesses) at(t sample.Instant) bool {
	return slices.ContainsFunc(s, func(one dryness) bool { return t >= one.from.Add(-noticed) && t <= one.to.Add(noticed) })
}

// timesFull are the times in which a record says that it took no readings. A daemon that
// was killed then does not say when that ended: its next one does.
func timesFull(t *testing.T, log journal.Log) (all drynesses) {
	t.Helper()
	for e, err := range log.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindFault}}) {
		if err != nil {
			t.Fatal(err)
		}
		f := e.Body.(record.Fault)
		switch {
		case f.Subject != record.RecordFault:
		case !f.Over:
			all = append(all, dryness{e.At, e.At})
		case len(all) > 0:
			all[len(all)-1].to = e.At
		}
	}
	return all
}
