package main

import (
	"context"
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/journal/replicated/natstest"
)

// A ward keeps its log itself and is shown at a centre, over a link that is cut: alerts go
// on there, of which the centre says that it does not know, and since when. When the link is
// there again everything comes, once and in order, and what was raised meanwhile is late.
func TestAWardGoesOnWithoutItsLink(t *testing.T) {
	t.Parallel()
	servers, link := natstest.ServeCentre(t)
	board := boardOn(t)
	ctx, stop := context.WithCancel(t.Context())
	var sending sync.WaitGroup
	defer sending.Wait()
	defer stop()
	context.AfterFunc(ctx, func() { board.Close() })
	var tight atomic.Bool
	sending.Go(func() {
		sendingBoard(ctx, board, func(at time.Duration) []float64 {
			if tight.Load() {
				return []float64{30, 70}
			}
			return []float64{70, 30}
		})
	})
	config := func(name, cluster string) string {
		return write(t, name+".yaml", fmt.Sprintf(`data: record
web: {listen: "127.0.0.1:%s"}
cluster: {record: larch, machine: %s, %s}
bridges:
  - {id: board, link: {tcp: {dial: %q}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 20, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [board/leg/0]}, {id: calf, channels: [board/leg/1]}]}
rules:
  - {id: first, limit: {watch: ankle.pressure, above: 65}, on_delay: 200ms, priority: low}
  - {id: second, limit: {watch: calf.pressure, above: 50}, on_delay: 200ms, priority: medium}
`, portOf(wiretest.Vacant(t)), name, cluster, board.Addr()))
	}
	wardPath := config("ward", fmt.Sprintf("own: {domain: larch, centre: [\"nats://%s\"]}", link.Address()))
	centrePath := config("centre", fmt.Sprintf("servers: [%s], replicas: 1, domain: larch, roles: [serve]", strings.Join(servers.URLs(), ", ")))
	ward := launch(t, wardPath)
	centre := launch(t, centrePath)
	says := func(path string, wants ...string) {
		t.Helper()
		eventually(t, time.Minute, func() error {
			got := text(t, centre.address, path)
			for _, want := range wants {
				if !strings.Contains(got, want) {
					return fmt.Errorf("no %q in %s of %s; %s", want, path, got, centre.stderr.String())
				}
			}
			return nil
		})
	}
	says("/", "larch from afar", "This ward is seen", "bench-1", "raised", "not a medical device")
	says("/readyz", `"ready":true`)
	link.Cut()
	says("/", "Not seen since", "What is below is how it was then")
	says("/readyz", `"ready":false`, "the ward is not seen")
	tight.Store(true)
	eventually(t, time.Minute, func() error {
		found, err := get[struct {
			Changes []struct {
				What, Rule string
				At         time.Time
			}
		}](ward.address, "/api/v1/alerts/changes?quiet=true&newest=5000")
		if err != nil {
			return err
		}
		for _, c := range found.Changes {
			if c.What == "raised" && c.Rule == "second" && time.Since(c.At) > 11*time.Second { // which is late
				return nil
			}
		}
		return fmt.Errorf("nothing was raised without a link, long ago: %+v", found)
	})
	if page := text(t, centre.address, "/"); strings.Contains(page, "Late:") || strings.Contains(page, "70 mmHg") && strings.Contains(page, "calf") {
		t.Errorf("it is known without a link: %s", page)
	}
	link.Mend()
	says("/", "This ward is seen")
	eventually(t, time.Minute, func() error {
		var all struct {
			Alerts []struct {
				Rule      string
				ReachedAt *time.Time `json:"reached_at"`
			}
		}
		if err := json.Unmarshal([]byte(text(t, centre.address, "/api/v1/alerts")), &all); err != nil {
			return err
		}
		late := map[string]bool{}
		for _, a := range all.Alerts {
			late[a.Rule] = a.ReachedAt != nil
		}
		if first, known := late["first"]; !known || first || !late["second"] {
			return fmt.Errorf("these are late: %v", late)
		}
		return nil
	})
	says("/", "Late: it became known here on")
	wardDir, centreDir := filepath.Join(filepath.Dir(wardPath), "record"), filepath.Join(filepath.Dir(centrePath), "record")
	link.Cut()
	ward.end()
	ward = launch(t, wardPath) // its log is its own: it needs no link to begin
	link.Mend()
	says("/", "This ward is seen")
	ward.end()
	centre.end()
	live := kept(t, wardDir)
	sameAlerts(t, live, wardPath)
	sameEntries(t, centreDir, wardDir)
}
