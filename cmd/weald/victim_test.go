package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/config"
	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

// atSpeed makes the test binary a daemon that reads the configuration named as
// its argument, and whose clock is that of the world that the variable tells.
const atSpeed = "WEALD_TEST_AT_SPEED"

// A world is where time runs fast: it began at the host's time, or so far ahead of
// it, and has run so many times as fast since.
type world struct {
	began time.Time
	speed float64
	ahead time.Duration
}

func newWorld(speed float64) world { return world{time.Now(), speed, 0} }

// at returns the world's instant at an instant of the host.
func (w world) at(host time.Time) sample.Instant {
	return sample.At(w.began).Add(w.ahead).Add(time.Duration(float64(host.Sub(w.began)) * w.speed))
}

func (w world) now() sample.Instant { return w.at(time.Now()) }

func (w world) String() string { return fmt.Sprintf("%d %g %d", w.began.UnixNano(), w.speed, w.ahead) }

func runIn(text, path string) error {
	var w world
	var began int64
	if _, err := fmt.Sscan(text, &began, &w.speed, &w.ahead); err != nil {
		return err
	}
	w.began = time.Unix(0, began)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	c, problems := config.Load(path)
	if len(problems) > 0 {
		return problems
	}
	if c.Cluster != nil {
		if err := runWithOthers(ctx, c, os.Stderr); !errors.Is(err, context.Canceled) {
			return err
		}
		return nil
	}
	l, err := listen(c.Listen)
	if err != nil {
		return err
	}
	d, err := newDaemonAfter(ctx, c, w.speed, w.now(), os.Stderr)
	if err != nil {
		return err
	}
	if err := d.run(ctx, l); !errors.Is(err, context.Canceled) {
		return err
	}
	return nil
}

// served has a daemon of this process answer until end, which waits for it; host is where.
func served(t *testing.T, d *daemon) (host string, end func()) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- d.run(ctx, l) }()
	return l.Addr().String(), sync.OnceFunc(func() {
		cancel()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Errorf("it ended with %v", err)
		}
	})
}

// A victim is a daemon in a process of its own, so that it can be killed.
type victim struct {
	t       *testing.T
	cmd     *exec.Cmd
	stderr  log
	address string // of its pages
	ended   bool
}

// launch starts a daemon, and waits until it serves its pages.
func launch(t *testing.T, config string) *victim {
	t.Helper()
	return launchIn(t, newWorld(1), config)
}

// launchIn starts a daemon with the clock of a world.
func launchIn(t *testing.T, w world, config string) *victim {
	t.Helper()
	v := begun(t, w, config)
	v.serves()
	return v
}

// serves waits until it serves its pages.
func (v *victim) serves() {
	v.t.Helper()
	eventually(v.t, longEnough, func() error {
		_, after, found := strings.Cut(v.stderr.String(), "listening on ")
		if !found {
			return fmt.Errorf("not listening: %s", v.stderr.String())
		}
		v.address = strings.Trim(strings.SplitN(after, "\n", 2)[0], `" `)
		return nil
	})
}

// begun starts a daemon with the clock of a world, and waits for nothing.
func begun(t *testing.T, w world, config string) *victim {
	t.Helper()
	v := &victim{t: t, cmd: exec.Command(os.Args[0], config)}
	v.cmd.Env = append(os.Environ(), fmt.Sprintf("%s=%v", atSpeed, w))
	v.begin()
	return v
}

// begin starts it.
func (v *victim) begin() {
	v.t.Helper()
	v.cmd.Stderr = &v.stderr
	if err := v.cmd.Start(); err != nil {
		v.t.Fatal(err)
	}
	v.t.Cleanup(func() {
		if !v.ended {
			v.kill()
		}
	})
}

// kill is kill -9.
func (v *victim) kill() {
	v.ended = true
	_ = v.cmd.Process.Kill()
	_ = v.cmd.Wait() // says that it was killed
}

// end asks it to end, and waits.
func (v *victim) end() {
	v.t.Helper()
	v.ended = true
	interrupt(v.t, v.cmd, &v.stderr)
}

// interrupt asks a process to end, and waits.
func interrupt(t *testing.T, cmd *exec.Cmd, said *log) {
	t.Helper()
	must(t, cmd.Process.Signal(os.Interrupt))
	if err := cmd.Wait(); err != nil {
		t.Errorf("it ended with %v: %s", err, said.String())
	}
}

// ended runs the program with the ward Larch in a folder for so long, and then
// sends it a signal.
func ended(t *testing.T, dir string, lasting time.Duration, by os.Signal) {
	t.Helper()
	var stderr log
	cmd := exec.Command(os.Args[0], "demo", "--speed", "10", "--data", dir, "--listen", "127.0.0.1:0")
	cmd.Env = append(os.Environ(), asProgram+"=1")
	cmd.Stderr = &stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	eventually(t, longEnough, func() error {
		if !strings.Contains(stderr.String(), "listening on") {
			return fmt.Errorf("not listening: %s", stderr.String())
		}
		return nil
	})
	time.Sleep(lasting)
	if err := cmd.Process.Signal(by); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil && by != os.Kill {
		t.Errorf("after %v it ended with %v: %s", by, err, stderr.String())
	}
}

// recordIn opens the record of a daemon that has ended, until the test does or
// the returned function is called.
func recordIn(t *testing.T, dir string) (store *sqlite.Store, done func()) {
	t.Helper()
	store, err := sqlite.Open(t.Context(), dir, sqlite.Options{Reserve: -1})
	if err != nil {
		t.Fatal(err)
	}
	done = sync.OnceFunc(func() {
		if err := store.Close(); err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(done)
	return store, done
}

// A tally counts how often what was told of is in a record.
type tally struct {
	changes map[told]int   // of alerts
	noted   map[string]int // marks, by their text
	faults  int
}

// inOrder fails if a check of the record finds anything.
func inOrder(t *testing.T, store *sqlite.Store) {
	t.Helper()
	for f, err := range store.Check(t.Context()) {
		t.Errorf("the record is not in order: %v, %v", f, err)
	}
}

// keptAsShown fails unless each raise and clear of a place's alert that was shown is kept, once.
func (all *tally) keptAsShown(t *testing.T, shown []told) {
	t.Helper()
	for _, one := range shown {
		one.at = one.at.UTC()
		if (one.what == "raised" || one.what == "cleared") && !strings.HasPrefix(one.id, "~") && all.changes[one] != 1 {
			t.Errorf("%+v was shown, and is kept %d times", one, all.changes[one])
		}
	}
}

func tallied(t *testing.T, store *sqlite.Store) tally {
	t.Helper()
	all := tally{changes: map[told]int{}, noted: map[string]int{}}
	for e, err := range store.Entries(t.Context(), journal.Query{}) {
		if err != nil {
			t.Fatal(err)
		}
		switch b := e.Body.(type) {
		case record.Transition:
			all.changes[told{string(b.Event.What), b.Event.ID(), b.Event.At.Time().UTC()}]++
		case record.Mark:
			all.noted[b.Text]++
		case record.Fault:
			if b.Subject == record.RecordFault {
				all.faults++
			}
		}
	}
	return all
}

// secrets writes the passwords of bridges beside a configuration.
func secrets(t *testing.T, config string, bridges ...string) {
	t.Helper()
	for _, bridge := range bridges {
		if err := os.WriteFile(filepath.Join(filepath.Dir(config), bridge+".secret"), []byte(bridge+"-secret\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}
