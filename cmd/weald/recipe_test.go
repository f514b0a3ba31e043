package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/sys/unix"

	"weald/config"
	"weald/ingest/frame"
	"weald/ingest/mqtt/mosquitto"
	"weald/ingest/tcp/wire/wiretest"
)

var recipe = flag.Bool("recipe", false, "the servers of the log are started anew too, one after the other, in the test of the recipe")

// asServer makes the test binary a server of the log, with the configuration file that it
// names.
const asServer = "WEALD_TEST_LOG_SERVER"

func runServer(path string) error {
	o, err := server.ProcessConfigFile(path)
	if err != nil {
		return err
	}
	s, err := server.NewServer(o)
	if err != nil {
		return err
	}
	s.ConfigureLogger()
	if err := server.Run(s); err != nil {
		return err
	}
	s.WaitForShutdown()
	return nil
}

// A logServer is a server of the log in a process of its own.
type logServer struct {
	t      *testing.T
	conf   string
	health string
	cmd    *exec.Cmd // nil while it does not run
	said   log
}

func (s *logServer) start() {
	s.t.Helper()
	s.cmd = exec.Command(os.Args[0])
	s.cmd.Env = append(os.Environ(), asServer+"="+s.conf)
	s.cmd.Stderr = &s.said
	if err := s.cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(s.kill)
}

// kill is kill -9.
func (s *logServer) kill() {
	if s.cmd != nil {
		_ = s.cmd.Process.Kill()
		_ = s.cmd.Wait() // says that it was killed
		s.cmd = nil
	}
}

// healthy waits until it says that it has its part of the log.
func (s *logServer) healthy() {
	s.t.Helper()
	eventually(s.t, time.Minute, func() error {
		r, err := http.Get("http://" + s.health + "/healthz")
		if err != nil {
			return fmt.Errorf("%w: %s", err, s.said.String())
		}
		defer r.Body.Close()
		b, err := io.ReadAll(r.Body)
		if err == nil && !strings.Contains(string(b), `"ok"`) {
			err = fmt.Errorf("it says %s", b)
		}
		return err
	})
}

// printed returns the first indented block of the README behind some words of it.
func printedIn(t *testing.T, words string) (block string) {
	t.Helper()
	b, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, after, found := strings.Cut(string(b), words)
	if !found {
		t.Fatalf("the README does not say %q", words)
	}
	for line := range strings.Lines(after) {
		if code, ok := strings.CutPrefix(line, "    "); ok {
			block += code
		} else if block != "" {
			break
		}
	}
	return block
}

// A deployment is what the README's recipe makes: three servers of the log, and what a
// machine with weald needs.
type deployment struct {
	servers  []*logServer
	machines map[string]string // by name: the part of its configuration that the recipe has
}

// deployed does what the README says, on loopback.
func deployed(t *testing.T) *deployment {
	t.Helper()
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	command := func(line string) string {
		t.Helper()
		var out bytes.Buffer
		if code := run(t.Context(), strings.Fields(line)[1:], &out, &out); code != 0 {
			t.Fatalf("%s ended with %d: %s", line, code, out.String())
		}
		return strings.TrimSpace(out.String())
	}
	for line := range strings.Lines(strings.ReplaceAll(strings.ReplaceAll(printedIn(t, "`ca.key` stays where it is."), " larch-ca", " "+at("larch-ca")), "--out ", "--out "+dir+"/")) {
		command(line)
	}
	d := &deployment{machines: map[string]string{}}
	public := map[string]string{}
	key := strings.TrimSpace(printedIn(t, "which is for the servers:"))
	for _, m := range []string{"weald-a", "weald-b"} {
		public[m] = command(strings.ReplaceAll(key, "/etc/weald/cluster.key", at(m+".key")))
	}
	var ports, here []string // clients and routes by server, for the file and for the addresses in it
	for i := range 3 {
		name := fmt.Sprintf("log-%d.larch.example", i+1)
		client, route := wiretest.Vacant(t), wiretest.Vacant(t)
		ports = append(ports, client, route)
		here = append(here, name+":4222", client, name+":6222", route)
	}
	conf := printedIn(t, "This is all of")
	for i := range 3 {
		s := &logServer{t: t, conf: at(fmt.Sprintf("server-%d.conf", i+1)), health: wiretest.Vacant(t)}
		name := fmt.Sprintf("log-%d", i+1)
		text := strings.NewReplacer("server_name: log-1", "server_name: "+name, "client_advertise: log-1.larch", "client_advertise: "+name+".larch").Replace(conf)
		text = strings.NewReplacer(append(slices.Clone(here), "0.0.0.0:4222", ports[2*i], "0.0.0.0:6222", ports[2*i+1], "127.0.0.1:8222", s.health,
			"/etc/weald-log", at(name), "/var/lib/weald-log", at(name+"-store"),
			"PUBLIC-KEY-OF-WEALD-A", public["weald-a"], "PUBLIC-KEY-OF-WEALD-B", public["weald-b"])...).Replace(text)
		if err := os.WriteFile(s.conf, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		d.servers = append(d.servers, s)
		s.start()
	}
	for _, m := range []string{"weald-a", "weald-b"} {
		d.machines[m] = strings.NewReplacer(append(slices.Clone(here), "/etc/weald/cluster.key", at(m+".key"), "/etc/weald/ca.pem", at("log-1/ca.pem"), "weald-a", m)...).
			Replace(printedIn(t, "with `machine` and `pages` of each machine:"))
	}
	return d
}

// settled waits until one of two machines does the work and the other stands by, and
// returns which does.
func settled(t *testing.T, both [2]*victim) (works int) {
	t.Helper()
	eventually(t, time.Minute, func() error {
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
	eventually(t, time.Minute, func() error {
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

// The README's recipe, from nothing: a CA, three servers with certificates and accounts,
// two machines with keys of their own. While frames come through a site's broker and people
// note things, a server that follows is killed, then the one that leads, and the pages go on;
// the disk of the machine that stands by fills, where that may be tried; then both are started
// anew, one after the other, and with -recipe the servers too. Nothing that was acknowledged is
// lost, and nothing is there twice; both machines have the same record.
func TestTheRecipeOfThreeServers(t *testing.T) {
	t.Parallel()
	site := mosquitto.Start(t, mosquitto.Options{Passwords: map[string]string{"weald": "larch", "gateway": "fir"}})
	d := deployed(t)
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
	c, problems := config.Load(paths["weald-a"])
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	connected := func(c *config.Config) *nats.Conn {
		t.Helper()
		m := &machine{config: c, name: "looking", log: slog.New(slog.DiscardHandler)}
		if err := m.connect(); err != nil {
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
		eventually(t, time.Minute, func() error {
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
	eventually(t, time.Minute, func() error { // the broker keeps frames from then on
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
	ready(b, "weald-a does the work")
	strange := *c
	cluster := *c.Cluster
	strange.Cluster, cluster.Credentials = &cluster, filepath.Join(t.TempDir(), "stranger.key")
	if _, err := newClusterKey(cluster.Credentials); err != nil {
		t.Fatal(err)
	}
	stranger := connected(&strange)
	eventually(t, time.Minute, func() error {
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
		eventually(t, time.Minute, func() error {
			for at = range pages {
				if now, _ := taken.Load(at); now != was[at] {
					return whole(pages[at])
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
	eventually(t, time.Minute, func() error {
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
	eventually(t, time.Minute, func() error { // until it works, with all that is in the log
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
