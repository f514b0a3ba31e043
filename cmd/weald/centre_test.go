package main

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/journal/replicated/natstest"
)

// A couple is a ward with a log of its own, which reads a board, and a centre that shows it.
type couple struct {
	ward, centre string         // their configurations; the folders of their records are beside them
	link         *natstest.Link // between the two, where the test has made it
	tight        atomic.Bool    // the board reads what raises the second rule, and not the first
}

// newPlain is a couple whose link asks nobody for anything.
func newPlain(t *testing.T) *couple {
	t.Helper()
	servers, link := natstest.ServeCentre(t)
	p := newCouple(t, fmt.Sprintf("cluster: {record: larch, machine: ward, own: {domain: larch, centre: [\"nats://%s\"]}}\n", link.Address()),
		fmt.Sprintf("cluster: {record: larch, machine: centre, servers: [%s], replicas: 1, domain: larch, roles: [serve]}\n", strings.Join(servers.URLs(), ", ")))
	p.link = link
	return p
}

// newCouple is one whose configurations have these parts.
func newCouple(t *testing.T, ward, centre string) *couple {
	t.Helper()
	p := &couple{}
	board := boardOn(t)
	ctx, stop := context.WithCancel(context.Background())
	var sending sync.WaitGroup
	t.Cleanup(sending.Wait)
	t.Cleanup(stop)
	context.AfterFunc(ctx, func() { board.Close() })
	sending.Go(func() {
		sendingBoard(ctx, board, func(time.Duration) []float64 {
			if p.tight.Load() {
				return []float64{30, 70}
			}
			return []float64{70, 30}
		})
	})
	config := func(name, cluster string) string {
		return write(t, name+".yaml", fmt.Sprintf(`data: record
web: {listen: "127.0.0.1:%s"}
%s`+wavingPlaces+`  - {id: first, limit: {watch: ankle.pressure, above: 65}, on_delay: 200ms, priority: low}
  - {id: second, limit: {watch: calf.pressure, above: 50}, on_delay: 200ms, priority: medium}
`, portOf(wiretest.Vacant(t)), cluster, board.Addr()))
	}
	p.ward, p.centre = config("ward", ward), config("centre", centre)
	return p
}

// recordBeside is the folder of the record beside a configuration.
func recordBeside(config string) string { return filepath.Join(filepath.Dir(config), "record") }

// saysSoon waits until what a daemon answers has all of some words. Where a server of the
// log went, the others may need a minute before what they copy goes on.
func saysSoon(t *testing.T, v *victim, path string, wants ...string) {
	t.Helper()
	eventually(t, longEnough, func() error {
		got, err := answered(v.address, path)
		if err != nil {
			return fmt.Errorf("%w; %s", err, v.stderr.String()) // it may begin just now
		}
		for _, want := range wants {
			if !strings.Contains(got, want) {
				return fmt.Errorf("no %q in %s of %s; %s", want, path, got, v.stderr.String())
			}
		}
		return nil
	})
}

// A ward keeps its log itself and is shown at a centre, over a link that is cut: alerts go
// on there, of which the centre says that it does not know, and since when. When the link is
// there again everything comes, once and in order, and what was raised meanwhile is late.
func TestAWardGoesOnWithoutItsLink(t *testing.T) {
	t.Parallel()
	p := newPlain(t)
	wardPath, centrePath, link := p.ward, p.centre, p.link
	ward := launch(t, wardPath)
	centre := launch(t, centrePath)
	says := func(path string, wants ...string) {
		t.Helper()
		saysSoon(t, centre, path, wants...)
	}
	says("/", "larch from afar", "This ward is seen", "bench-1", "raised", "not a medical device")
	says("/readyz", `"ready":true`)
	link.Cut()
	says("/", "Not seen since", "What is below is how it was then")
	says("/readyz", `"ready":false`, "the ward is not seen")
	p.tight.Store(true)
	eventually(t, longEnough, func() error {
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
			if c.What == "raised" && c.Rule == "second" && time.Since(c.At) > 20*time.Second { // which is late
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
	eventually(t, longEnough, func() error {
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
	knownAt := func() map[string]string {
		t.Helper()
		var all struct {
			Alerts []struct {
				ID        string
				ReachedAt string `json:"reached_at"`
			}
		}
		if err := json.Unmarshal([]byte(text(t, centre.address, "/api/v1/alerts")), &all); err != nil {
			t.Fatal(err)
		}
		known := map[string]string{}
		for _, a := range all.Alerts {
			if a.ReachedAt != "" {
				known[a.ID] = a.ReachedAt
			}
		}
		return known
	}
	before := knownAt()
	centre.end()
	centre = launch(t, centrePath)
	says("/", "This ward is seen", "Late: it became known here on")
	if after := knownAt(); !maps.Equal(before, after) {
		t.Errorf("late were %v, and are %v since the centre was started anew", before, after)
	}
	wardDir, centreDir := recordBeside(wardPath), recordBeside(centrePath)
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

// A centre that cannot show a ward says why, on its page and to programs, and goes on being
// there: with a full disk until there is room, and where the ward has begun anew, of which it
// takes nothing into the record of the old one.
func TestACentreSaysWhyItKnowsNothing(t *testing.T) {
	t.Parallel()
	p := newPlain(t)
	disk := smallDisk(t, "64m")
	if disk != "" {
		if err := os.Symlink(disk, recordBeside(p.centre)); err != nil {
			t.Fatal(err)
		}
	}
	ward, centre := launch(t, p.ward), launch(t, p.centre)
	saysSoon(t, centre, "/", "This ward is seen", "bench-1")
	if disk != "" {
		room := filledDisk(t, disk)
		saysSoon(t, centre, "/", "Nothing is known of this ward since", "no room for the record", "how it was then")
		saysSoon(t, centre, "/readyz", `"ready":false`, "no room for the record")
		room()
		saysSoon(t, centre, "/", "This ward is seen")
		saysSoon(t, centre, "/readyz", `"ready":true`)
	}
	ward.end()
	store, done := recordIn(t, recordBeside(p.ward))
	was, err := store.Head(t.Context())
	done()
	if err == nil {
		err = os.RemoveAll(recordBeside(p.ward))
	}
	if err != nil {
		t.Fatal(err)
	}
	ward = launch(t, p.ward)
	for range 2 {
		saysSoon(t, centre, "/", "Nothing is known of this ward", "the log was made anew")
		saysSoon(t, centre, "/readyz", `"ready":false`, "the log was made anew")
		centre.end()
		centre = launch(t, p.centre) // which is no way out of it
	}
	centre.end()
	ward.end()
	store, done = recordIn(t, recordBeside(p.centre))
	defer done()
	if now, err := store.Head(t.Context()); err != nil || now.Position != was.Position {
		t.Errorf("the copy has entry %d, and the ward had %d before it began anew: %v", now.Position, was.Position, err)
	}
}
