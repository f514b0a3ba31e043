package main

import (
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"weald/ingest/frame"
	"weald/ingest/raced"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/audit"
)

// kills makes TestKilledUnderLoad longer: 200 is ten minutes' worth.
var kills = flag.Int("kills", 12, "how often the daemon under load is killed")

var killConfig = `
data: record
web: {listen: "127.0.0.1:0"}
mqtt: {listen: %q}
bridges:
` + gatewayConfig("hub-a", "leg", 50) + gatewayConfig("hub-b", "leg", 50) + `places:
  - {id: bench-a, kind: wrap, sites: [{id: ankle, channels: [hub-a/leg/0, hub-a/leg/1]}]}
  - {id: bench-b, kind: wrap, sites: [{id: ankle, channels: [hub-b/leg/0, hub-b/leg/1]}]}
rules:
  - {id: long, limit: {watch: ankle.pressure, above: 1}, on_delay: %s, forget_after: 24h, priority: medium}
`

// A gateway sends frames one after the other, again and again until each is
// acknowledged, to whichever daemon is there.
type gateway struct {
	bridge string
	wave   int           // frames in a wave of pressure
	top    bool          // it stays at the top of the wave
	acked  atomic.Uint32 // how many were acknowledged, which is the number of the next
	resent int           // that were sent to one daemon and acknowledged by another
	open   bool          // the frame was sent and not acknowledged
}

// feed sends until the daemon does not answer any more.
func (g *gateway) feed(t *testing.T, port string, began time.Time) {
	p, err := dialPublisher(t, port, g.bridge)
	if err != nil {
		return // it was killed before
	}
	defer p.client.Disconnect(0)
	for {
		seq := g.acked.Load()
		at := int(seq) % g.wave
		if g.top {
			at = g.wave / 2
		}
		pressure := math.Round(5 + 200*float64(min(at, g.wave-at))/float64(g.wave)) // 5 to 105 and back
		f := &frame.Frame{Kind: frame.Readings, Source: 1, Seq: seq, Millis: seq * 20, Readings: []float64{pressure, pressure + 1}}
		if p.publish(f, false) != nil {
			g.open = true
			return
		}
		if g.open {
			g.resent++
		}
		g.open = false
		if ahead := time.Until(began.Add(time.Duration(g.acked.Add(1)) * 20 * time.Millisecond)); ahead > 0 {
			time.Sleep(ahead)
		}
	}
}

// acknowledged waits until a daemon has acknowledged so many more frames: that is after
// so long under load, on whatever machine.
func acknowledged(t *testing.T, v *victim, more int, gateways ...*gateway) {
	t.Helper()
	count := func() (n int) {
		for _, g := range gateways {
			n += int(g.acked.Load())
		}
		return n
	}
	want := count() + more
	eventually(t, longEnough, func() error {
		if n := count(); n < want {
			return fmt.Errorf("%d frames are acknowledged, want %d; it said %s", n, want, v.stderr.String())
		}
		return nil
	})
}

// A daemon is killed again and again, at random instants under load. Every frame
// that it acknowledged, every change of an alert that it showed and every mark
// that it answered is in its record, once, and judged again the record gives just
// the alerts that were kept. A hold that is longer than many of its lives goes on
// through all of them.
func TestKilledUnderLoad(t *testing.T) {
	raced.Skip(t, "processes that are killed, and what they leave on the disk")
	t.Parallel()
	port := wiretest.Vacant(t)
	long := time.Duration(*kills) * 300 * time.Millisecond
	config := fmt.Sprintf(killConfig, port, long)
	for limit := 10; limit < 105; limit += 5 {
		config += fmt.Sprintf("  - {id: above-%d, limit: {watch: ankle.pressure, above: %d}, priority: low}\n", limit, limit)
	}
	name := write(t, "ward.yaml", config)
	secrets(t, name, "hub-a", "hub-b")
	dir := filepath.Join(filepath.Dir(name), "record")
	rng := rand.New(rand.NewPCG(uint64(*kills), 9))
	// Of three waves no alert chatters, so that every change is shown.
	wave := max(100, *kills*60/3)
	gateways := []*gateway{{bridge: "hub-a", wave: wave}, {bridge: "hub-b", wave: wave * 4 / 5}}
	began := time.Now()
	var mu sync.Mutex
	var marks []string // under mu
	enough := func() bool {
		mu.Lock()
		defer mu.Unlock()
		return len(marks) >= 100
	}
	shown := map[told]bool{}
	for round := range *kills + 1 {
		v := launch(t, name)
		pages := look(t, v.address)
		var busy sync.WaitGroup
		for _, g := range gateways {
			reachable(t, port)
			busy.Go(func() { g.feed(t, port, began) })
		}
		busy.Go(func() {
			for i := 0; ; i++ {
				text := fmt.Sprintf("round %d, number %d", round, i)
				if ok, _ := noteMark(v.address, "bench-a", text); !ok {
					return
				}
				mu.Lock()
				marks = append(marks, text)
				mu.Unlock()
				time.Sleep(5 * time.Millisecond)
			}
		})
		if round < *kills { // of 100 frames a second
			acknowledged(t, v, rng.IntN(145), gateways...)
			time.Sleep(time.Duration(rng.IntN(20)) * time.Millisecond)
			v.kill()
		} else {
			acknowledged(t, v, 200, gateways...)
			eventually(t, longEnough, func() error { // where each takes long, the lives before were too short
				if !enough() {
					return errors.New("too few marks are answered")
				}
				return nil
			})
			v.end()
		}
		busy.Wait()
		<-pages.done
		for _, one := range pages.all() {
			if one.at = one.at.UTC(); one.what == "raised" || one.what == "cleared" {
				shown[one] = true
			}
		}
		if t.Failed() {
			t.Fatalf("round %d; it said %s", round, v.stderr.String())
		}
	}

	store, done := recordIn(t, dir)
	defer done()
	inOrder(t, store)
	if r, err := audit.Verify(t.Context(), store); err != nil || len(r.Findings) > 0 || r.Covered < len(marks) {
		t.Errorf("after kills the audit's chain does not hold: %v %+v", err, r)
	}
	all := tallied(t, store)
	done()
	for one := range shown {
		if all.changes[one] != 1 {
			t.Errorf("%+v was shown, and is kept %d times", one, all.changes[one])
		}
	}
	held := 0
	for one, n := range all.changes {
		if n != 1 {
			t.Errorf("%+v is kept %d times", one, n)
		}
		if one.what == "raised" && strings.Contains(one.id, "~long~") {
			held += n
		}
	}
	for _, text := range marks {
		if all.noted[text] != 1 {
			t.Errorf("the mark %q was answered, and is kept %d times", text, all.noted[text])
		}
	}
	frames, resent := 0, 0
	for _, g := range gateways {
		seqs := seqsKept(t, dir, g.bridge+"/leg")
		acked := g.acked.Load()
		for i := range acked {
			if seqs[i] != 1 {
				t.Errorf("frame %d of %s was acknowledged, and is kept %d times", i, g.bridge, seqs[i])
			}
		}
		for i, n := range seqs {
			if n != 1 {
				t.Errorf("frame %d of %s is kept %d times", i, g.bridge, n)
			}
		}
		frames, resent = frames+int(acked), resent+g.resent
	}
	if held != len(gateways) {
		t.Errorf("the hold of %v over all lives was raised %d times, want once for each of %d places", long, held, len(gateways))
	}
	sameAlerts(t, kept(t, dir), name)
	t.Logf("%d kills: %d frames acknowledged, %d of them sent again after a kill, %d changes of alerts shown, %d marks answered: none lost, none twice",
		*kills, frames, resent, len(shown), len(marks))
	if frames < 100 || len(shown) < 20 || !enough() {
		t.Error("too few to prove anything")
	}
}
