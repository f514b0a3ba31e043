package main

import (
	"context"
	"fmt"
	"math"
	"net"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/ingest/frame"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/journal"
	"weald/stream/journal/replicated/natstest"
	"weald/stream/record"
)

// waving returns a board that waves until end is called, or ctx ends with the test, and what
// may be busy beside it for as long.
func waving(t *testing.T) (board net.Listener, ctx context.Context, busy *sync.WaitGroup, end func()) {
	t.Helper()
	board, busy = boardOn(t), new(sync.WaitGroup)
	ctx, stop := context.WithCancel(t.Context())
	context.AfterFunc(ctx, func() { board.Close() })
	busy.Go(func() { wavingBoard(ctx, board) })
	return board, ctx, busy, func() { stop(); busy.Wait() }
}

// aPair writes the configurations of two machines that keep one record of what a board waves,
// and says where their pages are.
func aPair(t *testing.T, servers []string, board net.Listener) (paths, addresses [2]string) {
	t.Helper()
	for i := range paths {
		address := wiretest.Vacant(t)
		addresses[i] = "http://" + address
		paths[i] = write(t, fmt.Sprintf("weald-%c.yaml", 'a'+i), fmt.Sprintf(`data: record
web: {listen: %q}
cluster: {servers: [%s], replicas: 1, machine: weald-%c}
`+wavingPlaces+`  - {id: waves, limit: {watch: ankle.pressure, above: 65}, on_delay: 200ms, off_delay: 100ms, priority: low}
`, address, strings.Join(servers, ", "), 'a'+i, board.Addr()))
	}
	return paths, addresses
}

// wavingPlaces is of a configuration what comes before its rules: the bridge to a waving board,
// whose address it takes, and the place where it is.
const wavingPlaces = `bridges:
  - {id: board, link: {tcp: {dial: %q}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 20, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [board/leg/0]}, {id: calf, channels: [board/leg/1]}]}
rules:
`

// A wavingBoard sends twenty readings a second to whoever dials, one machine after
// another; its clock and its sequence go on.
func wavingBoard(ctx context.Context, l net.Listener) {
	sendingBoard(ctx, l, func(at time.Duration) []float64 {
		return []float64{math.Round(50 + 30*math.Sin(at.Seconds()*2*math.Pi/1.7)), math.Round(70 + 10*math.Sin(at.Seconds()/3))}
	})
}

// A sendingBoard is one whose readings at a time since it began are given.
func sendingBoard(ctx context.Context, l net.Listener, readings func(time.Duration) []float64) {
	const period = 50 * time.Millisecond
	began, due := time.Now(), time.Duration(0)
	seq := uint32(0)
	for {
		c, err := l.Accept()
		if err != nil {
			return
		}
		for ctx.Err() == nil {
			// A machine that is busy makes single frames late, and not fewer of them.
			at := time.Since(began)
			if due = max(due+period, at-time.Second); due > at {
				time.Sleep(due - at)
				at = due
			}
			f := &frame.Frame{Kind: frame.Readings, Source: 1, Seq: seq, Millis: uint32(at.Milliseconds()),
				Readings: readings(at)}
			b, err := frame.AppendWire(nil, f, frame.U16)
			if err != nil {
				panic(err)
			}
			if _, err := c.Write(b); err != nil {
				break
			}
			seq++
		}
		c.Close()
	}
}

// Two machines keep one record in three servers. Whoever does the work is killed, twice,
// and the other takes over with all that it had counted: no change of an alert is lost or
// doubled, both have the same record, and it judged anew gives the same alerts to the byte.
func TestAMachineTakesOver(t *testing.T) {
	t.Parallel()
	servers := natstest.Serve(t, 3)
	board, _, _, end := waving(t)
	defer end()

	machine := func(name string) (path, dir string) {
		path = write(t, name+".yaml", fmt.Sprintf(`data: record
web: {listen: "127.0.0.1:%s"}
cluster: {servers: [%s], machine: %s, pages: "https://%s.larch.example:8420"}
`+wavingPlaces+`  - {id: waves, limit: {watch: ankle.pressure, above: 65}, on_delay: 200ms, off_delay: 100ms, priority: low}
  - {id: long, limit: {watch: calf.pressure, above: 50}, on_delay: 10s, resets_after: 20s, forget_after: 1m, priority: medium}
`, portOf(wiretest.Vacant(t)), strings.Join(servers.URLs(), ", "), name, name, board.Addr()))
		return path, filepath.Join(filepath.Dir(path), "record")
	}
	aPath, aDir := machine("weald-a")
	bPath, bDir := machine("weald-b")
	works := func(v *victim, times int) {
		t.Helper()
		eventually(t, longEnough, func() error {
			if n := strings.Count(v.stderr.String(), "this machine does the work now"); n < times {
				return fmt.Errorf("it does not do the work: %s", v.stderr.String())
			}
			if state := text(t, v.address, "/readyz"); !strings.Contains(state, `"ready":true`) {
				return fmt.Errorf("it is not ready: %s", state)
			}
			return nil
		})
	}
	changes := func(v *victim, more int) {
		t.Helper()
		eventually(t, longEnough, func() error {
			if n := strings.Count(text(t, v.address, "/api/v1/alerts/changes"), `"raised"`); n < more {
				return fmt.Errorf("%d alerts were raised", n)
			}
			return nil
		})
	}
	a := launch(t, aPath)
	works(a, 1)
	b := launch(t, bPath)
	eventually(t, longEnough, func() error {
		page := text(t, b.address, "/")
		for _, want := range []string{"weald-b stands by", "weald-a does the work", `href="https://weald-a.larch.example:8420"`, "not a medical device"} {
			if !strings.Contains(page, want) {
				return fmt.Errorf("no %q on %s", want, page)
			}
		}
		return nil
	})
	if state := text(t, b.address, "/readyz"); !strings.Contains(state, "weald-a does the work") {
		t.Errorf("who stands by is ready: %s", state)
	}
	changes(a, 2)
	a.kill()
	killed := time.Now()
	works(b, 1)
	t.Logf("taken over and ready %v after a kill", time.Since(killed).Round(time.Millisecond))
	changes(b, 4)
	a = launch(t, aPath)
	time.Sleep(time.Second)
	b.kill()
	works(a, 1)
	eventually(t, longEnough, func() error {
		if all := text(t, a.address, "/api/v1/alerts/changes"); !strings.Contains(all, "~long~") {
			return fmt.Errorf("what has to last for longer than a machine is not raised: %s", all)
		}
		return nil
	})
	b = launch(t, bPath)
	a.end() // and gives the lease back
	works(b, 1)
	b.end()

	live := kept(t, bDir)
	sameAlerts(t, live, bPath)
	keptOnce(t, live)
	sameEntries(t, aDir, bDir)
}

// sameEntries fails if the record of one folder is not the beginning of that of another.
func sameEntries(t *testing.T, shorter, longer string) {
	t.Helper()
	entries := func(dir string) (all []record.Entry) {
		store, done := recordIn(t, dir)
		defer done()
		for e, err := range store.Entries(t.Context(), journal.Query{}) {
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, e)
		}
		return all
	}
	x, y := entries(shorter), entries(longer)
	if len(x) < 5 || len(x) > len(y) {
		t.Fatalf("%d entries, and %d", len(x), len(y))
	}
	for i := range x {
		if fmt.Sprintf("%+v", x[i]) != fmt.Sprintf("%+v", y[i]) {
			t.Fatalf("entry %d: %+v, and %+v", i+1, x[i], y[i])
		}
	}
}
