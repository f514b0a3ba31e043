package main

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/config"
	"weald/ingest/raced"
	"weald/ingest/sample"
	"weald/ingest/tcp/wire/wiretest"
	"weald/rules"
	"weald/stream/journal/replicated/natstest"
	"weald/stream/keeper"
	"weald/stream/record"
	"weald/stream/relay"
)

const absentConfig = `data: record
web: {listen: "127.0.0.1:%s"}
cluster: {servers: [%s], replicas: 1, roles: [judge, serve]}
bridges:
  - {id: board, link: {tcp: {dial: "127.0.0.1:9"}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 10, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [board/leg/0]}, {id: calf, channels: [board/leg/1]}]}
rules:
  - {id: waves, limit: {watch: ankle.pressure, above: 65}, on_delay: 2s, off_delay: 1s, priority: low}
  - {id: long, limit: {watch: calf.pressure, above: 50}, on_delay: 90m, forget_after: 24h, priority: medium}
`

// measured is the n-th of the scans that a board has measured since a time.
func measured(began sample.Instant, n int) record.Scan {
	at := began.Add(time.Duration(n) * 100 * time.Millisecond)
	return record.Scan{
		At: at, Arrived: at.Add(5 * time.Millisecond), Seq: uint32(n), First: uint32(n), Millis: uint32(n * 100), Counted: true, Rail: math.NaN(),
		Raw: []float64{math.Round(50 + 30*math.Sin(float64(n)/70)), 70},
	}
}

// Another machine has read for two hours when the only one that judges comes back. It is
// killed while it catches up, again and again: every scan is in the record once, in order,
// and what is raised, and when, is to the byte what one process raises that is given the same
// scans without a break, with a hold that lasts longer than the absence and all lives.
// Meanwhile it says that it catches up, and is not ready.
func TestAJudgeIsKilledWhileItCatchesUp(t *testing.T) {
	raced.Skip(t, "machines that are killed, and an outage of many readings")
	t.Parallel()
	servers := natstest.Serve(t, 1)
	path := write(t, "weald.yaml", fmt.Sprintf(absentConfig, portOf(wiretest.Vacant(t)), strings.Join(servers.URLs(), ", ")))
	c, problems := config.Load(path)
	if problems != nil {
		t.Fatal(problems)
	}
	ctx, stop := context.WithCancel(t.Context())
	var writing sync.WaitGroup
	defer writing.Wait()
	defer stop()
	w, err := relay.NewWriter(ctx, servers.Connect(), relayOf(c), slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	writing.Go(func() { _ = w.Run(ctx) })
	const before, more, most = 6000, 84_000, 6 * 84_000 // ten minutes, and each time more than two hours
	began := sample.At(time.Now()).Add(-(before + most) * 100 * time.Millisecond)
	read := func(from, to int) {
		t.Helper()
		var safe <-chan struct{}
		for n := from; n < to; n++ {
			if safe, err = w.Put(ctx, "board/leg", measured(began, n)); err != nil {
				t.Fatal(err)
			}
		}
		<-safe
	}
	const done = "all readings that waited have come"
	read(0, before)
	v := launch(t, path)
	eventually(t, longEnough, func() error { return hasSaid(v, done) })
	v.kill()
	all := before
	last := 0
	for killed := 0; killed < 3; {
		if hasSaid(v, done) == nil { // all that there was, so there has to be more
			if all >= before+most {
				t.Fatalf("it was killed too late again and again, and %d times in time: too few to prove anything", killed)
			}
			read(all, all+more)
			all += more
		}
		v = launch(t, path)
		eventually(t, longEnough, func() error {
			now, err := changesOf(v, last+20)
			if err == nil {
				last = now
			}
			return err
		})
		state := text(t, v.address, "/readyz")
		v.kill()
		if hasSaid(v, done) == nil {
			continue
		}
		killed++
		if !strings.Contains(state, `"ready":false`) || !strings.Contains(state, "this machine catches up") || !strings.Contains(state, "messages are still to come") {
			t.Errorf("who catches up says %s", state)
		}
	}
	v = launch(t, path)
	eventually(t, longEnough, func() error { return hasSaid(v, done) })
	eventually(t, longEnough, func() error {
		if state := text(t, v.address, "/readyz"); strings.Contains(state, "catches up") {
			return fmt.Errorf("it still says %s", state)
		}
		return allJudged(t, v.address)() // what has come waits for that still
	})
	v.end()

	dir := filepath.Join(filepath.Dir(path), "record")
	next := uint32(0)
	store, closed := recordIn(t, dir)
	for block, err := range store.Readings(t.Context(), "board/leg", sample.Past, sample.Never) {
		if err != nil {
			t.Fatal(err)
		}
		for i := range block.Scans {
			if s := &block.Scans[i]; s.Seq != next {
				t.Fatalf("scan %d follows where %d should", s.Seq, next)
			}
			next++
		}
	}
	closed()
	if next != uint32(all) {
		t.Errorf("%d of %d scans are in the record", next, all)
	}
	live := kept(t, dir)
	keptOnce(t, live)
	sameAlerts(t, live, path)

	converters, err := convertersOf(c)
	if err != nil {
		t.Fatal(err)
	}
	found := &raisedBy{t: t, place: map[string][]string{}}
	engine, reviver := rules.NewEngine(c.Plan(), found), keeper.NewReviver(c.Plan(), converters)
	for n := range all {
		one := measured(began, n)
		s, ok := reviver.Revive("board/leg", &one)
		if !ok {
			t.Fatal("there is no such source")
		}
		engine.Scan(s)
	}
	want := found.place["bench-1"]
	if found.late > 0 || len(want) < 200 || !slices.ContainsFunc(want, func(s string) bool { return strings.Contains(s, `"long"`) }) {
		t.Fatalf("%d changes, %d late: too little to prove anything", len(want), found.late)
	}
	same(t, "as one process judges it", live[:min(len(live), len(want))], want) // what comes after is of time that passed without scans
}

// changesOf returns how many changes of alerts a machine tells of; there have to be so many.
func changesOf(v *victim, least int) (int, error) {
	r, err := http.Get(v.address + "/api/v1/alerts/changes?quiet=true&newest=5000")
	if err != nil {
		return 0, err
	}
	defer r.Body.Close()
	var b strings.Builder
	if err := r.Write(&b); err != nil {
		return 0, err
	}
	if n := strings.Count(b.String(), `"raised"`); n >= least {
		return n, nil
	}
	return 0, fmt.Errorf("fewer than %d are raised: %s", least, v.stderr.String())
}
