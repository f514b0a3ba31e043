package main

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/ingest/capture"
	"weald/ingest/raced"
	"weald/ingest/sample"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/journal"
	"weald/stream/record"
)

var damages = flag.Int("damages", 1, "how many bytes of each file of a record, and how many of its ends, TestDamageIsNamed damages")

const damageConfig = `
data: data
web: {listen: "127.0.0.1:0"}
bridges:
  - id: board
    link: {tcp: {dial: %q}}
    format: packed
    capture: board.wcap
    sources: [{number: 1, id: leg, channels: 2, rate: 100, unit: mmHg}]
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [board/leg/0]}]}
rules:
  - {id: tight, limit: {watch: ankle.pressure, above: 60}, on_delay: %s, priority: high}
`

// board plays a board that a daemon dials until the test ends, or until it is
// told to.
func board(t *testing.T) (address string, road *stream) {
	t.Helper()
	l := wiretest.Listen(t)
	road = &stream{}
	quit := make(chan struct{})
	var playing sync.WaitGroup
	playing.Go(func() {
		for {
			select {
			case <-quit:
				return
			default:
				road.run(l, quit)
			}
		}
	})
	t.Cleanup(func() { close(quit); l.Close(); playing.Wait() })
	return l.Addr().String(), road
}

// holdings is everything that can be read of a record.
func holdings(t *testing.T, dir string) map[string]bool {
	t.Helper()
	store, done := recordIn(t, dir)
	defer done()
	all := map[string]bool{}
	var loss *journal.Loss
	for e, err := range store.Entries(t.Context(), journal.Query{}) {
		if errors.As(err, &loss) {
			continue
		} else if err != nil {
			t.Fatal(err)
		}
		if f, ok := e.Body.(record.Fault); ok && f.Subject == journal.FileFault {
			continue // what was mended since
		}
		all[fmt.Sprintf("entry %d %v", e.Position, e.Body)] = true
	}
	for in, err := range store.Inputs(t.Context(), 1, math.MaxUint64) {
		switch {
		case errors.As(err, &loss):
		case err != nil:
			t.Fatal(err)
		case in.Scan != nil:
			all[fmt.Sprintf("scan %d %d %v %v", in.Ord, in.Scan.Seq, in.Scan.At, in.Scan.Raw)] = true
		case in.Tick != nil:
			all[fmt.Sprintf("tick %d %v", in.Ord, in.Tick.At)] = true
		}
	}
	return all
}

// A byte is damaged, or the end torn off, in every file that a killed daemon has
// left. The daemon starts. What can be read is as it was; what cannot is named by
// the doctor, whose exit status is 1; and no more is lost than what was in the
// block or the entry, or behind the tear.
func TestDamageIsNamed(t *testing.T) {
	t.Parallel()
	raced.Skip(t, "one start after the other")
	address, _ := board(t)
	name := write(t, "weald.yaml", fmt.Sprintf(damageConfig, address, "50ms"))
	home := filepath.Dir(name)
	if err := os.Mkdir(filepath.Join(home, "data"), 0o700); err != nil {
		t.Fatal(err)
	}
	// The second life finds what the first has left. A machine that is slow keeps less of
	// what it reads before it is killed, and has more lives.
	var image string
	var want map[string]bool
	enough := func() bool { return len(want) >= 250 }
	for lives := 0; lives < 2 || !enough() && lives < 10; lives++ {
		v := launch(t, name)
		eventually(t, longEnough, func() error {
			b, err := bridge(v.address, "board")
			if err == nil && b.Frames < 240 {
				err = fmt.Errorf("%d frames have come: %s", b.Frames, v.stderr.String())
			}
			return err
		})
		v.kill()
		image = copied(t, home)
		want = holdings(t, filepath.Join(copied(t, home), "data"))
	}
	rng := rand.New(rand.NewPCG(uint64(*damages), 4))
	files, err := os.ReadDir(filepath.Join(image, "data"))
	if err != nil {
		t.Fatal(err)
	}
	kinds, named := map[string]int{}, 0
	for _, f := range files {
		info, err := f.Info()
		if err != nil || info.Size() == 0 || f.Name() == "reserve" || !info.Mode().IsRegular() {
			continue
		}
		for i := range 2 * *damages {
			torn := i%2 == 1
			dir := copied(t, image)
			path := filepath.Join(dir, "data", f.Name())
			at := rng.Int64N(info.Size())
			if torn && strings.HasSuffix(f.Name(), ".wcap") {
				at = withinRecord(t, path, at)
			}
			damage(t, path, at, torn)
			what := fmt.Sprintf("byte %d of %s, torn %v", at, f.Name(), torn)
			said, code := doctored(t, filepath.Join(dir, "weald.yaml"))
			if again, code2 := doctored(t, filepath.Join(dir, "weald.yaml")); code2 != code || wrongs(again) != wrongs(said) {
				t.Errorf("%s: exit status %d at first, then %d; the doctor says at first\n%s\nand then\n%s", what, code, code2, said, again)
			}
			have := holdings(t, filepath.Join(dir, "data"))
			gone := 0
			for one := range want {
				if !have[one] {
					gone++
				}
			}
			for one := range have {
				if !want[one] {
					t.Errorf("%s: %s was never written", what, one)
				}
			}
			recording := strings.HasSuffix(f.Name(), ".wcap")
			switch {
			case recording && (code != 1 || !strings.Contains(said, "wrong  capture ") || gone > 0):
				t.Errorf("%s: exit status %d and %d lost; the doctor says\n%s", what, code, gone, said)
			case gone > 0 && code == 0 && !(torn && strings.HasSuffix(f.Name(), "-wal")):
				// Only of the end of a log nobody can tell that it was there.
				t.Errorf("%s: %d are lost, and the doctor says\n%s", what, gone, said)
			case !torn && gone > 150:
				t.Errorf("%s: %d are lost by one byte", what, gone)
			}
			if code == 1 {
				named++
			}
			kinds[filepath.Ext(f.Name())]++
			if v := launch(t, filepath.Join(dir, "weald.yaml")); v.address != "" {
				v.kill()
			}
		}
	}
	t.Logf("%d things in the record; damaged, by kind of file: %v; %d times the doctor found something", len(want), kinds, named)
	if !enough() || kinds[".db"] == 0 || kinds[".db-wal"] == 0 || kinds[".wcap"] == 0 {
		t.Error("too little to prove anything")
	}
}

// wrongs returns the lines of a doctor that say what is wrong.
func wrongs(said string) (out string) {
	for line := range strings.Lines(said) {
		if strings.HasPrefix(line, "wrong") {
			out += line
		}
	}
	return out
}

// doctored runs the doctor.
func doctored(t *testing.T, config string) (said string, code int) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	code = run(t.Context(), []string{"doctor", "-c", config}, &stdout, &stderr)
	return stdout.String() + stderr.String(), code
}

// withinRecord moves a tear between two records of a capture back into the first:
// one that ends there is a capture like any other.
func withinRecord(t *testing.T, path string, at int64) int64 {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r, err := capture.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	for r.Offset() < at {
		if _, err := r.Next(); err != nil {
			return at
		}
	}
	if r.Offset() == at {
		at--
	}
	return at
}

func damage(t *testing.T, path string, at int64, torn bool) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if torn {
		b = b[:at]
	} else {
		b[at] ^= 0x41
	}
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// copied copies a folder with what is in it, without what a start makes anew.
func copied(t *testing.T, from string) string {
	t.Helper()
	to := t.TempDir()
	err := filepath.WalkDir(from, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(from, path)
		switch {
		case err != nil:
			return err
		case d.IsDir():
			return os.MkdirAll(filepath.Join(to, rel), 0o700)
		case !d.Type().IsRegular() || d.Name() == "reserve":
			return nil
		}
		copyImage(t, filepath.Join(to, rel), path)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return to
}

// The host's clock is set back, by an hour or a day, while the daemon is dead. Its
// time goes on where the record ends, which is said; a hold that had begun goes on
// too, and all of it is judged again as it was.
func TestTheClockIsSetBack(t *testing.T) {
	raced.Skip(t, "processes with a clock of their own, and what they leave on the disk")
	t.Parallel()
	for _, by := range []time.Duration{time.Hour, 24 * time.Hour} {
		t.Run(by.String(), func(t *testing.T) {
			t.Parallel()
			address, _ := board(t)
			name := write(t, "weald.yaml", strings.Replace(fmt.Sprintf(damageConfig, address, "3s"), "above: 60", "above: 30", 1))
			dir := filepath.Join(filepath.Dir(name), "data")
			before := newWorld(1)
			before.ahead = by
			for lives := 0; len(scansOf(t, dir, "board/leg")) < 50; lives++ { // a slow machine keeps less in a life
				if lives == 5 {
					t.Fatal("too little is kept to prove anything")
				}
				v := launchIn(t, before, name)
				time.Sleep(2 * time.Second)
				v.kill()
			}
			v := launch(t, name)
			pages := look(t, v.address)
			eventually(t, longEnough, func() error {
				if pages.count("raised", "tight") == 0 {
					return errors.New("the hold is not over")
				}
				return nil
			})
			if ready := text(t, v.address, "/readyz"); !strings.Contains(ready, "clock") {
				t.Errorf("/readyz says nothing of the clock: %s", ready)
			}
			v.end()
			if said, _ := doctored(t, name); !strings.Contains(said, "all of it can be read") {
				t.Errorf("the doctor says %s", said)
			}
			sameAlerts(t, kept(t, dir), name)
			store, done := recordIn(t, dir)
			defer done()
			last, first := sample.Past, sample.Never
			for in, err := range store.Inputs(t.Context(), 1, math.MaxUint64) {
				if err != nil {
					t.Fatal(err)
				}
				if in.Scan == nil {
					continue
				}
				if in.Scan.At < last || in.Scan.Arrived < in.Scan.At {
					t.Fatalf("a scan of %v, which arrived at %v, follows one of %v", in.Scan.At, in.Scan.Arrived, last)
				}
				last, first = in.Scan.At, min(first, in.Scan.At)
			}
			if span := last.Sub(first); span < 2*time.Second || span > time.Minute {
				t.Errorf("all lives took %v by the record", span)
			}
			if ahead := last.Sub(sample.At(time.Now())); ahead < by-time.Minute || ahead > by {
				t.Errorf("the record ends %v ahead of the host's clock, which was set back by %v", ahead, by)
			}
		})
	}
}
