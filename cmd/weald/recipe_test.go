package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/sys/unix"

	"weald/config"
	"weald/ingest/frame"
	"weald/ingest/mqtt/mosquitto"
	"weald/ingest/raced"
	"weald/ingest/tcp/wire/wiretest"
)

var recipe = flag.Bool("recipe", false, "the servers of the log are started anew too, one after the other, in the test of the recipe")

// settled waits until one of two machines does the work and the other stands by, and
// returns which does.
func settled(t *testing.T, both [2]*victim) (works int) {
	t.Helper()
	eventually(t, longEnough, func() error {
		var says [2]string
		for i, v := range both {
			r, err := http.Get(v.address + "/readyz")
			if err != nil {
				return err
			}
			state, err := io.ReadAll(r.Body)
			r.Body.Close()
			if err != nil {
				return err
			}
			says[i] = string(state)
		}
		for works = range says {
			if strings.Contains(says[works], `"ready":true`) && strings.Contains(says[1-works], "does the work") {
				return nil
			}
		}
		return fmt.Errorf("they say %q", says)
	})
	return works
}

// whole says what is wrong with the page of the ward at an address.
func whole(address string) error {
	r, err := http.Get(address + "/")
	if err != nil {
		return err
	}
	defer r.Body.Close()
	page, err := io.ReadAll(r.Body)
	if err == nil && !strings.Contains(string(page), `<div id="app"`) {
		err = fmt.Errorf("there is no page: %s", page)
	}
	return err
}

// leader returns the server that leads the log, and one that does not.
func (d *deployment) leader(t *testing.T, js jetstream.JetStream) (leads, follows *logServer) {
	t.Helper()
	eventually(t, longEnough, func() error {
		stream, err := js.Stream(t.Context(), "weald-ward")
		if err != nil {
			return err
		}
		info := stream.CachedInfo()
		if info.Cluster == nil || info.Cluster.Leader == "" {
			return fmt.Errorf("it has no leader: %+v", info.Cluster)
		}
		for i, s := range d.servers {
			if fmt.Sprintf("log-%d", i+1) == info.Cluster.Leader {
				leads, follows = s, d.servers[(i+1)%3]
			}
		}
		return nil
	})
	return leads, follows
}

// The recipe of webui/src/notes/machines.md, from nothing: a CA, three servers with certificates and accounts,
// two machines with keys of their own. While frames come through a site's broker and people
// note things, a server that follows is killed, then the one that leads, and the pages go on;
// the disk of the machine that stands by fills, where that may be tried; then both are started
// anew, one after the other, and with -recipe the servers too. Nothing that was acknowledged is
// lost, and nothing is there twice; both machines have the same record.
func TestTheRecipeOfThreeServers(t *testing.T) {
	raced.Skip(t, "servers and machines that are killed, against the clock")
	t.Parallel()
	site := mosquitto.Start(t, mosquitto.Options{Passwords: map[string]string{"weald": "larch", "gateway": "fir"}})
	d := deployed(t, func(conf string) string { return conf })
	for _, s := range d.servers {
		s.healthy()
	}
	disk := smallDisk(t, "64m")
	paths := map[string]string{}
	for _, m := range slices.Sorted(maps.Keys(d.machines)) {
		paths[m] = write(t, m+".yaml", fmt.Sprintf("data: record\nweb: {listen: %q}\n%s"+`bridges:
  - {id: hub, link: {mqtt: {broker: %q, user: weald, password_file: hub.secret}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 20, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0]}, {id: calf, channels: [hub/leg/1]}]}
rules:
  - {id: waves, limit: {watch: ankle.pressure, above: 65}, on_delay: 200ms, off_delay: 100ms, priority: low}
`, wiretest.Vacant(t), d.machines[m], site.Address))
		if err := os.WriteFile(filepath.Join(filepath.Dir(paths[m]), "hub.secret"), []byte("larch\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if disk != "" { // which is small, for the machine that stands by
		if err := os.Symlink(disk, filepath.Join(filepath.Dir(paths["weald-b"]), "record")); err != nil {
			t.Fatal(err)
		}
	}
	c := configOf(t, paths["weald-a"])
	connected := func(c *config.Config) *nats.Conn {
		t.Helper()
		m := &machine{config: c, name: "looking", closed: make(chan struct{}), log: slog.New(slog.DiscardHandler)}
		if err := m.connect(nil); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(m.conn.Close)
		return m.conn
	}
	js, err := jetstream.New(connected(c))
	if err != nil {
		t.Fatal(err)
	}
	ready := func(v *victim, says string) {
		t.Helper()
		eventually(t, longEnough, func() error {
			r, err := http.Get(v.address + "/readyz")
			if err != nil {
				return err // it is just beginning to work, or to stand by
			}
			defer r.Body.Close()
			state, err := io.ReadAll(r.Body)
			if err == nil && !strings.Contains(string(state), says) {
				err = fmt.Errorf("it says %s: %s", state, v.stderr.String())
			}
			return err
		})
	}
	const isReady = `"ready":true`
	a := launch(t, paths["weald-a"])
	eventually(t, longEnough, func() error { // the broker keeps frames from then on
		got, err := bridge(a.address, "hub")
		if err == nil && got.State != "open" {
			err = fmt.Errorf("it is %s: %s", got.State, got.Trouble)
		}
		return err
	})
	ctx, stop := context.WithCancel(t.Context())
	var busy sync.WaitGroup
	defer busy.Wait()
	defer stop()
	sent := uint32(0)
	gateway := newPublisher(t, site.Address, "hub", "gateway", "fir")
	send := func(calf float64) {
		f := &frame.Frame{Kind: frame.Readings, Source: 1, Seq: sent, Millis: sent * 50, Readings: []float64{float64(40 + sent%40), calf}}
		if err := gateway.publish(f, false); err != nil {
			t.Error(err)
		}
		sent++
	}
	busy.Go(func() {
		for ctx.Err() == nil {
			send(20)
			time.Sleep(50 * time.Millisecond)
		}
	})
	ready(a, isReady)
	b := launch(t, paths["weald-b"])
	settled(t, [2]*victim{a, b})
	strange := *c
	cluster := *c.Cluster
	strange.Cluster, cluster.Credentials = &cluster, filepath.Join(t.TempDir(), "stranger.key")
	if _, err := newClusterKey(cluster.Credentials); err != nil {
		t.Fatal(err)
	}
	stranger := connected(&strange)
	eventually(t, longEnough, func() error {
		if err := stranger.LastError(); err == nil || !strings.Contains(err.Error(), "uthorization") {
			return fmt.Errorf("one whose key nobody knows is told %v", err)
		}
		return nil
	})
	stranger.Close()

	noted := map[string]bool{} // whether it was acknowledged; of busy
	pages := [...]string{a.address, b.address}
	var taken, why sync.Map // how many were, and why others were not, by machine
	busy.Go(func() {
		for n := 0; ctx.Err() == nil; n++ {
			words := fmt.Sprintf("note %d", n)
			for i := range pages {
				done, err := noteMark(pages[i], "bench-1", words)
				if done {
					noted[words] = true
					taken.Store(i, n)
					break
				}
				why.Store(i, fmt.Sprint(err))
			}
			time.Sleep(50 * time.Millisecond)
		}
	})
	// goesOn waits until something more is noted at some machine, which is returned, and its
	// pages are there.
	goesOn := func() (at int) {
		t.Helper()
		var was [2]any
		for i := range pages {
			was[i], _ = taken.Load(i)
		}
		eventually(t, longEnough, func() error {
			for at = range pages {
				// What one noted before it handed over counts for nothing.
				if now, _ := taken.Load(at); now != was[at] && whole(pages[at]) == nil {
					return nil
				}
			}
			said, _ := why.Load(0)
			other, _ := why.Load(1)
			return fmt.Errorf("nothing is noted any more: %v; %v; %s", said, other, a.stderr.String())
		})
		return at
	}
	goesOn()

	leads, follows := d.leader(t, js)
	for _, s := range []*logServer{follows, leads} {
		s.kill()
		killed := time.Now()
		goesOn()
		t.Logf("noted again %v after a server was killed", time.Since(killed).Round(time.Millisecond))
		s.start()
		s.healthy()
	}
	// Every machine anew, the one that does the work last.
	both := [2]*victim{a, b}
	works := settled(t, both)
	if disk != "" && works == 0 {
		room := filledDisk(t, disk)
		ready(b, "no room for the record")
		goesOn() // nobody minds
		room()
		works = settled(t, both)
	}
	for _, i := range []int{1 - works, works} {
		both[i].end()
		both[i] = launch(t, paths[fmt.Sprintf("weald-%c", "ab"[i])])
		works = settled(t, both)
		goesOn()
	}
	if disk != "" && works == 1 { // the one whose disk is small gives way
		room := filledDisk(t, disk)
		ready(both[1], "no room for the record")
		goesOn()
		if works = settled(t, both); works != 0 {
			t.Error("the machine with a full disk still does the work")
		}
		room()
		eventually(t, longEnough, func() error {
			if state := text(t, both[1].address, "/readyz"); strings.Contains(state, "no room") {
				return fmt.Errorf("there is room, and it says %s", state)
			}
			return nil
		})
	}
	if *recipe {
		for _, s := range d.servers {
			if err := s.cmd.Process.Signal(os.Interrupt); err != nil {
				t.Fatal(err)
			}
			_ = s.cmd.Wait() // with its own words for having been asked to
			s.cmd = nil
			s.start()
			s.healthy()
			goesOn()
		}
	}
	stop()
	busy.Wait()
	all := sent
	eventually(t, longEnough, func() error {
		send(90) // by then all before it have come
		works = settled(t, both)
		got, err := get[struct {
			Signals map[string]struct{ Value *float64 }
		}](both[works].address, "/api/v1/places/bench-1")
		if v := got.Signals["calf.pressure"].Value; err == nil && (v == nil || *v != 90) {
			err = fmt.Errorf("the last of %d frames has not come: %+v", sent, got)
		}
		return err
	})
	a, b = both[1-works], both[works]
	b.end()
	eventually(t, longEnough, func() error { // until it works, with all that is in the log
		_, err := bridge(a.address, "hub")
		return err
	})
	a.end()
	dirs := [2]string{filepath.Join(filepath.Dir(paths["weald-a"]), "record"), filepath.Join(filepath.Dir(paths["weald-b"]), "record")}
	aDir, bDir := dirs[1-works], dirs[works]
	seqs := seqsKept(t, aDir, "hub/leg")
	for seq := range sent {
		if n := seqs[seq]; n > 1 || n == 0 && seq < all {
			t.Errorf("frame %d of %d is kept %d times", seq, all, n)
		}
	}
	store, done := recordIn(t, aDir)
	marks := tallied(t, store).noted
	done()
	for words, n := range marks {
		if n != 1 {
			t.Errorf("%s is kept %d times", words, n)
		}
	}
	for words := range noted {
		if marks[words] == 0 {
			t.Errorf("%s was acknowledged, and is not kept", words)
		}
	}
	sameEntries(t, bDir, aDir)
	sameAlerts(t, kept(t, aDir), paths[fmt.Sprintf("weald-%c", "ab"[1-works])])
	t.Logf("%d frames and %d notes, each once", all, len(noted))
}

// smallDisk returns a folder with a small file system of its own, "" where that is not
// allowed.
func smallDisk(t *testing.T, size string) string {
	t.Helper()
	dir := t.TempDir()
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, "size="+size); err != nil {
		t.Logf("no small file system can be mounted here, and no full disk is tried: %v", err)
		return ""
	}
	t.Cleanup(func() {
		if err := unix.Unmount(dir, unix.MNT_DETACH); err != nil {
			t.Errorf("%s stays mounted: %v", dir, err)
		}
	})
	return dir
}

// filledDisk takes all room of a disk, until the function that it returns is called.
func filledDisk(t *testing.T, dir string) (room func()) {
	t.Helper()
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err != nil {
		t.Fatal(err)
	}
	ballast := filepath.Join(dir, "ballast")
	// All of it, whatever else is written meanwhile.
	if err := os.WriteFile(ballast, make([]byte, int64(st.Bavail)*st.Bsize), 0o600); err != nil && !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
	return func() {
		if err := os.Remove(ballast); err != nil {
			t.Fatal(err)
		}
	}
}
