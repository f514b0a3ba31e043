package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"os"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/journal/replicated/natstest"
)

// The servers of the log are gone for half a minute. The machine that does the work judges on
// and tells alerts, of which none waits for them for more than ten seconds; it says that nothing
// is kept, and refuses what people do, and another configuration, rather than have them wait. When the servers are there
// again everything is kept, once, as if they had been there: to the byte what a rehearsal
// finds, and no scan is missing.
func TestAMachineJudgesOnWithoutAMajority(t *testing.T) {
	t.Parallel()
	servers := natstest.Serve(t, 1)
	board := boardOn(t)
	ctx, stop := context.WithCancel(t.Context())
	var sending sync.WaitGroup
	defer sending.Wait()
	defer stop()
	context.AfterFunc(ctx, func() { board.Close() })
	sending.Go(func() {
		sendingBoard(ctx, board, func(at time.Duration) []float64 {
			return []float64{math.Round(50 + 30*math.Sin(at.Seconds()*2*math.Pi/1.7)), 70}
		})
	})
	var long strings.Builder // one alert every two seconds, none of which chatters
	for s := 2; s < 120; s += 2 {
		fmt.Fprintf(&long, "  - {id: long-%d, limit: {watch: calf.pressure, above: 50}, on_delay: %ds, priority: medium}\n", s, s)
	}
	path := write(t, "weald.yaml", fmt.Sprintf(`data: record
web: {listen: "127.0.0.1:%s"}
cluster: {servers: [%s], replicas: 1}
`+wavingPlaces+`  - {id: waves, limit: {watch: ankle.pressure, above: 65}, on_delay: 200ms, off_delay: 100ms, priority: low}
`, portOf(wiretest.Vacant(t)), strings.Join(servers.URLs(), ", "), board.Addr())+long.String())
	v := launch(t, path)
	saysSoon(t, v, "/readyz", `"ready":true`)
	pages := look(t, v.address)
	raised := func() (n int) {
		for _, one := range pages.all() {
			if one.what == "raised" {
				n++
			}
		}
		return n
	}
	eventually(t, longEnough, func() error {
		if raised() < 2 {
			return fmt.Errorf("nothing is raised: %s", v.stderr.String())
		}
		return nil
	})
	servers.Stop(0)
	gone := time.Now()
	if ok, why := noteMark(v.address, "bench-1", "with none"); ok || !strings.Contains(fmt.Sprint(why), "503") || time.Since(gone) > 15*time.Second {
		t.Errorf("a note is answered after %v: %t, %v", time.Since(gone), ok, why)
	}
	time.Sleep(12*time.Second - time.Since(gone))
	for range 3 {
		before := raised()
		time.Sleep(4 * time.Second)
		if n := raised() - before; n < 1 {
			t.Errorf("%v after the servers were gone none is raised in four seconds: %s", time.Since(gone).Round(time.Second), v.stderr.String())
		}
	}
	saysSoon(t, v, "/readyz", `"ready":false`, "readings are not kept: no majority of the servers of the log can be reached")
	saysSoon(t, v, "/api/v1/alerts", "~long-20~", "readings are not kept")
	asked := time.Now()
	id := ""
	for _, one := range pages.all() {
		if strings.Contains(one.id, "~long-") {
			id = one.id
		}
	}
	r, err := http.Post(v.address+"/api/v1/alerts/"+url.PathEscape(id)+"/acknowledge", "application/json", strings.NewReader(`{"code": "K-07"}`))
	if err != nil {
		t.Fatal(err)
	}
	why, _ := io.ReadAll(r.Body)
	r.Body.Close()
	if r.StatusCode < 500 || time.Since(asked) > 5*time.Second {
		t.Errorf("what cannot be kept is answered with %d after %v: %s", r.StatusCode, time.Since(asked), why)
	}
	if ok, why := noteMark(v.address, "bench-1", "with none yet"); ok || !strings.Contains(fmt.Sprint(why), "the servers of the log do not answer") {
		t.Errorf("a note is answered with %t, %v", ok, why)
	}
	// Another configuration is refused, and judging goes on by the one that is in force.
	was, err := os.ReadFile(path)
	if err == nil {
		err = os.WriteFile(path, bytes.ReplaceAll(was, []byte("above: 65"), []byte("above: 66")), 0o600)
	}
	if err == nil {
		err = v.cmd.Process.Signal(syscall.SIGHUP)
	}
	if err != nil {
		t.Fatal(err)
	}
	eventually(t, longEnough, func() error {
		if said := v.stderr.String(); !strings.Contains(said, "the former one stays in force") || !strings.Contains(said, "and reload again") {
			return fmt.Errorf("nothing is refused: %s", said)
		}
		return nil
	})
	if err := os.WriteFile(path, was, 0o600); err != nil {
		t.Fatal(err)
	}
	servers.Start(0)
	saysSoon(t, v, "/readyz", `"ready":true`)
	if kept, err := get[struct{ Config int }](v.address, "/api/v1/record"); err != nil || kept.Config != 1 {
		t.Errorf("version %d is in force after one that was refused: %v", kept.Config, err)
	}
	eventually(t, longEnough, func() error {
		if ok, why := noteMark(v.address, "bench-1", "with one"); !ok {
			return fmt.Errorf("no mark is taken: %v", why)
		}
		return nil
	})
	shown := pages.all()
	v.end()
	<-pages.done

	dir := recordBeside(path)
	live := kept(t, dir)
	keptOnce(t, live)
	sameAlerts(t, live, path)
	store, done := recordIn(t, dir)
	defer done()
	inOrder(t, store)
	all := tallied(t, store)
	all.keptAsShown(t, shown)
	if all.noted["with one"] != 1 {
		t.Errorf("marks are kept: %v", all.noted)
	}
	next := uint32(0)
	for block, err := range store.Readings(t.Context(), "board/leg", sample.Past, sample.Never) {
		if err != nil {
			t.Fatal(err)
		}
		for i := range block.Scans {
			if s := &block.Scans[i]; next > 0 && s.Seq != next {
				t.Errorf("scan %d follows where %d should", s.Seq, next)
			}
			next = block.Scans[i].Seq + 1
		}
	}
}
