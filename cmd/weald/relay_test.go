package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"weald/ingest/raced"
	"weald/ingest/sample"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/journal/replicated/natstest"
)

// One machine reads a bridge, two others judge by turns what comes through the log. Whoever
// judges is killed, twice: no reading is lost, doubled or late for that, alerts are to the
// byte what one process raises of the same readings, and what has to last longer than any
// machine is raised. Then the machine that reads is killed, which is said, and another
// reads on.
func TestReadingsWaitForAJudge(t *testing.T) {
	raced.Skip(t, "machines that are ended and started, and what waits meanwhile")
	t.Parallel()
	servers := natstest.Serve(t, 1)
	board, _, _, end := waving(t)
	defer end()
	machine := func(name, roles string) string {
		return write(t, name+".yaml", fmt.Sprintf(`data: record
web: {listen: "127.0.0.1:%s"}
cluster: {servers: [%s], replicas: 1, machine: %s, roles: [%s]}
`+wavingPlaces+`  - {id: waves, limit: {watch: ankle.pressure, above: 65}, on_delay: 200ms, off_delay: 100ms, priority: low}
  - {id: long, limit: {watch: calf.pressure, above: 50}, on_delay: 8s, forget_after: 1m, priority: medium}
`, portOf(wiretest.Vacant(t)), strings.Join(servers.URLs(), ", "), name, roles, board.Addr()))
	}
	raised := func(v *victim, times int) {
		t.Helper()
		eventually(t, longEnough, func() error {
			all, err := answered(v.address, "/api/v1/alerts/changes?quiet=true&newest=5000")
			if n := strings.Count(all, `"raised"`); err != nil || n < times {
				return fmt.Errorf("%d alerts were raised: %v; %s", n, err, v.stderr.String())
			}
			return nil
		})
	}
	cPath, aPath, bPath := machine("weald-c", "ingest"), machine("weald-a", "judge, serve"), machine("weald-b", "judge, serve")
	c := launch(t, cPath)
	saysSoon(t, c, "/", "weald-c reads the bridges, since", "on the machines that judge", "shows no patients")
	saysSoon(t, c, "/readyz", `"ready":true`)
	a := launch(t, aPath)
	raised(a, 2)
	saysSoon(t, a, "/api/v1/bridges", `"id":"board"`, `"state":"open"`)
	saysSoon(t, a, "/readyz", `"ready":true`)
	b := launch(t, bPath)
	saysSoon(t, b, "/readyz", "weald-a does the work")
	a.kill()
	raised(b, 4)
	a = launch(t, aPath)
	saysSoon(t, a, "/readyz", "weald-b does the work")
	b.kill()
	raised(a, 8)
	saysSoon(t, a, "/api/v1/alerts/changes", "~long~")
	c.kill()
	saysSoon(t, a, "/api/v1/bridges", "not seen since", "the machine that reads this bridge is gone")
	dPath := machine("weald-d", "ingest")
	d := launch(t, dPath)
	eventually(t, longEnough, func() error {
		state, err := answered(a.address, "/api/v1/bridges")
		if err != nil || strings.Contains(state, "not seen since") {
			return fmt.Errorf("nobody reads on: %s, %v", state, err)
		}
		return nil
	})
	raised(a, 10)
	d.end()
	a.end()

	dir := filepath.Join(filepath.Dir(aPath), "record")
	live := kept(t, dir)
	sameAlerts(t, live, aPath)
	keptOnce(t, live)
	judged := judgedAsOne(t, aPath)
	store, done := recordIn(t, dir)
	defer done()
	var holes []string
	last, n := uint32(0), 0
	for block, err := range store.Readings(t.Context(), "board/leg", sample.Past, sample.Never) {
		if err != nil {
			t.Fatal(err)
		}
		for i := range block.Scans {
			if s := &block.Scans[i]; n > 0 && s.Seq != last+1 {
				holes = append(holes, fmt.Sprintf("%d after %d, as the %d. scan", s.Seq, last, n+1))
			}
			last = block.Scans[i].Seq
			n++
		}
	}
	// A machine that stalls hands readings over too late by itself; if judges that change made
	// them late, it would be all that wait for them, for seconds each time.
	if judged.late > n/10 {
		t.Errorf("%d of %d readings came too late to be judged", judged.late, n)
	}
	// The one hole is that of the machine that read: nobody took what the board sent then.
	if n < 200 || len(holes) > 1 {
		t.Errorf("of %d scans not one follows the other: %s", n, strings.Join(holes, "; "))
	}
}

// Without a cluster nothing of it runs: of a daemon that has none, no goroutine is in it.
func TestNoClusterRunsNothingOfOne(t *testing.T) {
	t.Parallel()
	v := launch(t, write(t, "alone.yaml", "data: record\nweb: {listen: \"127.0.0.1:0\"}\nbridges:\n  - {id: board, link: {tcp: {dial: \"127.0.0.1:9\"}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 20, unit: mmHg}]}\nplaces:\n  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [board/leg/0]}]}\n"))
	v.ended = true
	if err := v.cmd.Process.Signal(syscall.SIGQUIT); err != nil { // which makes it say what it is doing
		t.Fatal(err)
	}
	_ = v.cmd.Wait()
	stacks := v.stderr.String()
	if n := strings.Count(stacks, "\ngoroutine "); n < 10 {
		t.Fatalf("%d goroutines tell what they do: %s", n, stacks)
	}
	if strings.Contains(stacks, "nats") {
		t.Errorf("something of a cluster runs: %s", stacks)
	}
}
