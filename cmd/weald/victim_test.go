package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"weald/config"
	"weald/stream/journal/sqlite"
)

// atSpeed makes the test binary a daemon whose clock runs so many times as fast
// as the host's, and that reads the configuration named as its argument.
const atSpeed = "WEALD_TEST_AT_SPEED"

func runAtSpeed(speed, path string) error {
	by, err := strconv.ParseFloat(speed, 64)
	if err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	c, problems := config.Load(path)
	if len(problems) > 0 {
		return problems
	}
	l, err := listen(c.Listen)
	if err != nil {
		return err
	}
	d, err := newDaemon(ctx, c, by, os.Stderr)
	if err != nil {
		return err
	}
	if err := d.run(ctx, l); !errors.Is(err, context.Canceled) {
		return err
	}
	return nil
}

// A victim is a daemon in a process of its own, so that it can be killed.
type victim struct {
	t       *testing.T
	cmd     *exec.Cmd
	stderr  log
	address string // of its pages
	ended   bool
}

// launch starts a daemon at a speed, and waits until it serves its pages.
func launch(t *testing.T, speed float64, config string) *victim {
	t.Helper()
	v := &victim{t: t, cmd: exec.Command(os.Args[0], config)}
	v.cmd.Env = append(os.Environ(), fmt.Sprintf("%s=%g", atSpeed, speed))
	v.cmd.Stderr = &v.stderr
	if err := v.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if !v.ended {
			v.kill()
		}
	})
	eventually(t, 30*time.Second, func() error {
		_, after, found := strings.Cut(v.stderr.String(), "listening on ")
		if !found {
			return fmt.Errorf("not listening: %s", v.stderr.String())
		}
		v.address = strings.Trim(strings.SplitN(after, "\n", 2)[0], `" `)
		return nil
	})
	return v
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
	if err := v.cmd.Process.Signal(os.Interrupt); err != nil {
		v.t.Fatal(err)
	}
	if err := v.cmd.Wait(); err != nil {
		v.t.Errorf("it ended with %v: %s", err, v.stderr.String())
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
	done = func() {
		if err := store.Close(); err != nil {
			t.Error(err)
		}
	}
	t.Cleanup(done)
	return store, done
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
