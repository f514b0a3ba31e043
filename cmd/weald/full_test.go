package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"weald/ingest/frame"
	"weald/ingest/raced"
	"weald/ingest/tcp/wire/wiretest"
)

var fullConfig = `
data: %q
web: {listen: "127.0.0.1:0"}
mqtt: {listen: %q}
bridges:
` + gatewayConfig("hub", "leg", 20) + `  - id: mats
    link: {tcp: {dial: %q}}
    format: packed
    sources: [{number: 1, id: mat, channels: 2048, rate: 200, calibration: {slope: 0.01}}]
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0, hub/leg/1]}]}
  - {id: bed-1, kind: bed, mat: {source: mats/mat, rows: 32, columns: 64, pitch_mm: [25, 25], head: first_row}}
rules:
  - {id: tight, limit: {watch: ankle.pressure, above: 60}, on_delay: 300ms, off_delay: 300ms, priority: high}
`

// note posts a mark, and reports whether it was taken.
func noteMark(address, place, text string) (bool, error) {
	body, _ := json.Marshal(map[string]string{"what": "turned", "text": text, "author": "K-07"})
	client := http.Client{Timeout: 20 * time.Second}
	r, err := client.Post(address+"/api/v1/places/"+place+"/marks", "application/json", bytes.NewReader(body))
	if err != nil {
		return false, err
	}
	defer r.Body.Close()
	said, err := io.ReadAll(r.Body)
	if r.StatusCode != http.StatusCreated {
		return false, fmt.Errorf("%s: %s", r.Status, said)
	}
	return true, err
}

// noise sends scans of a mat that nothing can compress, as fast as they are
// taken, until ctx ends.
func noise(ctx context.Context, l net.Listener) {
	conn, err := l.Accept()
	if err != nil {
		return
	}
	defer conn.Close()
	rng := rand.New(rand.NewPCG(1, 2))
	f := frame.Frame{Kind: frame.Readings, Source: 1, Readings: make([]float64, 2048)}
	began := time.Now()
	var buf []byte
	for ; ctx.Err() == nil; f.Seq++ {
		for i := range f.Readings {
			f.Readings[i] = float64(rng.IntN(4000))
		}
		f.Millis = uint32(time.Since(began).Milliseconds())
		if buf, err = frame.AppendWire(buf[:0], &f, frame.U12); err != nil {
			return
		}
		if _, err := conn.Write(buf); err != nil {
			return
		}
		time.Sleep(2 * time.Millisecond)
	}
}

// A file system of 64 MB fills under a running daemon. Readings stop being kept,
// which is an alert of its own; alerts and marks go on, until the last reserve is
// used up and a mark is refused; and when there is room again all goes on by
// itself. Nothing that was acknowledged or shown is lost, and nothing is there
// twice.
func TestTheDiskOfADaemonFills(t *testing.T) {
	t.Parallel()
	raced.Skip(t, "a disk that fills as fast as a daemon goes")
	if testing.Short() || os.Getuid() != 0 {
		t.Skip("not allowed to mount a small file system: run as root to test a daemon on a full disk")
	}
	disk := smallDisk(t, "64m")
	if disk == "" {
		t.Skip("no small file system can be mounted here")
	}
	ballast := filepath.Join(disk, "ballast")
	if err := os.WriteFile(ballast, make([]byte, 44<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	mats := wiretest.Listen(t)
	port, data := wiretest.Vacant(t), filepath.Join(disk, "record")
	name := write(t, "full.yaml", fmt.Sprintf(fullConfig, data, port, mats.Addr()))
	secrets(t, name, "hub")
	v := launch(t, name)
	reachable(t, port)
	pages := look(t, v.address)
	hub := newPublisher(t, port, "hub", "hub", "hub-secret")
	began := time.Now()
	seq := uint32(0)
	step := func(pressure float64) {
		hub.send(&frame.Frame{Kind: frame.Readings, Source: 1, Seq: seq, Millis: uint32(time.Since(began).Milliseconds()), Readings: []float64{pressure, pressure + 1}})
		seq++
		time.Sleep(50 * time.Millisecond)
	}
	until := func(what string, pressure float64, done func() bool) {
		t.Helper()
		for deadline := time.Now().Add(60 * time.Second); !done(); step(pressure) {
			if time.Now().After(deadline) {
				t.Fatalf("after a minute still not: %s; it said %s", what, v.stderr.String())
			}
		}
	}
	marks := 0
	mark := func() error {
		ok, err := noteMark(v.address, "bench-1", fmt.Sprintf("number %d", marks))
		if ok {
			marks++
		}
		return err
	}
	cycle := func(when string) {
		t.Helper()
		raised, cleared := pages.count("raised", "tight"), pages.count("cleared", "tight")
		until("an alert is raised "+when, 70, func() bool { return pages.count("raised", "tight") > raised })
		until("an alert is cleared "+when, 40, func() bool { return pages.count("cleared", "tight") > cleared })
		if err := mark(); err != nil {
			t.Errorf("a mark %s: %v", when, err)
		}
	}
	cycle("before")

	ctx, stop := context.WithCancel(t.Context())
	go noise(ctx, mats)
	until("readings stop being kept", 40, func() bool { return pages.count("raised", "record") > 0 })
	stop()
	t.Logf("full after %v", time.Since(began).Round(time.Second))
	if ready := text(t, v.address, "/readyz"); !strings.Contains(ready, "readings are not kept") {
		t.Errorf("/readyz says %s", ready)
	}
	cycle("on a full disk")
	var st unix.Statfs_t
	if err := unix.Statfs(disk, &st); err != nil {
		t.Fatal(err)
	}
	// Of the reserve 768 kB are left, so that it does not take all day.
	if spare := int64(st.Bavail)*st.Bsize - 3<<18; spare > 0 {
		if err := os.WriteFile(ballast+"-2", make([]byte, spare), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	before := marks
	for refused := error(nil); refused == nil && marks < 200_000; {
		switch refused = mark(); {
		case refused == nil:
		case strings.Contains(refused.Error(), http.StatusText(http.StatusTooManyRequests)): // by the bound on who writes much
			refused = nil
			time.Sleep(20 * time.Millisecond)
		default:
			t.Logf("%d marks until the last reserve was used up: %v", marks-before, refused)
		}
	}
	if marks-before < 500 {
		t.Errorf("only %d marks found room in the reserve", marks-before)
	}

	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	until("readings are kept again", 40, func() bool { return pages.count("cleared", "record") > 0 })
	cycle("when there is room again")
	// What signals did is kept again too, after its own while.
	until("nothing is amiss with the record", 40, func() bool { return !strings.Contains(text(t, v.address, "/readyz"), "record") })
	shown := pages.all()
	v.end()

	actionable(t, v.stderr.String())

	store, done := recordIn(t, data)
	defer done()
	inOrder(t, store)
	all := tallied(t, store)
	all.keptAsShown(t, shown)
	for i := range marks {
		if n := all.noted[fmt.Sprintf("number %d", i)]; n != 1 {
			t.Errorf("mark %d was answered, and is kept %d times", i, n)
		}
	}
	if all.faults != 2 {
		t.Errorf("%d faults of the record are kept, want its beginning and its end", all.faults)
	}
	done()
	seqs := seqsKept(t, data, "hub/leg")
	for i := range seq {
		if seqs[i] != 1 {
			t.Errorf("frame %d was acknowledged, and is kept %d times", i, seqs[i])
		}
	}
	sameAlerts(t, kept(t, data), name)
}
