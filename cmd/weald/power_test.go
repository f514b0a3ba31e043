package main

import (
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sync"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"weald/ingest/frame"
	"weald/ingest/tcp/wire/wiretest"
)

var powerCuts = flag.Int("powercuts", 0, "how often TestPowerCutOfADaemon takes the power away; it needs root")

var powerConfig = `
data: %q
web: {listen: "127.0.0.1:0"}
mqtt: {listen: %q}
bridges:
` + gatewayConfig("hub", "leg", 20) + `  - id: board
    link: {tcp: {dial: %q}}
    format: packed
    sources: [{number: 1, id: leg, channels: 2, rate: 100, unit: mmHg}]
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [board/leg/0]}, {id: calf, channels: [hub/leg/0]}]}
rules:
  - {id: tight, limit: {watch: ankle.pressure, above: 60}, priority: high}
`

// A stream sends frames 100 times a second over a road on which nothing is
// acknowledged, and knows when it sent each.
type stream struct {
	mu   sync.Mutex
	sent []time.Time
}

func (s *stream) run(l net.Listener, quit <-chan struct{}) {
	conn, err := l.Accept()
	if err != nil {
		return
	}
	defer conn.Close()
	began := time.Now()
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	for n := uint32(0); ; n++ {
		select {
		case <-tick.C:
		case <-quit:
			return
		}
		f := &frame.Frame{Kind: frame.Readings, Source: 1, Seq: n, Millis: uint32(time.Since(began).Milliseconds()), Readings: []float64{float64(40 + 30*(n/400%2)), 1}}
		b, err := frame.AppendWire(nil, f, frame.U16)
		if err != nil {
			panic(err)
		}
		s.mu.Lock()
		s.sent = append(s.sent, time.Now())
		s.mu.Unlock()
		if _, err := conn.Write(b); err != nil {
			return
		}
	}
}

// The power goes under a running daemon: all that there is afterwards is what had
// reached the disk. Its file system lies in a file; the daemon is stopped, and the
// file is copied, which is the disk as the power would have left it. In the record
// on the copy is everything that was acknowledged, shown or answered; of readings
// that nobody acknowledges the last ones are missing, and how many seconds of them
// is what this test measures.
func TestPowerCutOfADaemon(t *testing.T) {
	if *powerCuts == 0 || os.Getuid() != 0 {
		t.Skip("takes minutes and root: go test ./cmd/weald -run PowerCut -powercuts 40")
	}
	image := filepath.Join(t.TempDir(), "disk")
	if err := os.WriteFile(image, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(image, 256<<20); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("mkfs.ext4", "-q", "-F", image).CombinedOutput(); err != nil {
		t.Skipf("no file system can be made here: %v, %s", err, out)
	}
	disk, unmount := mounted(t, image)
	t.Cleanup(unmount)
	board := wiretest.Listen(t)
	port, quit := wiretest.Vacant(t), make(chan struct{})
	name := write(t, "power.yaml", fmt.Sprintf(powerConfig, filepath.Join(disk, "record"), port, board.Addr()))
	secrets(t, name, "hub")
	v := launch(t, name)
	reachable(t, port)
	var busy sync.WaitGroup
	road := &stream{}
	busy.Go(func() { road.run(board, quit) })
	var mu sync.Mutex
	acked, marks := uint32(0), 0
	busy.Go(func() {
		p := newPublisher(t, port, "hub", "hub", "hub-secret")
		for n := uint32(0); ; n++ {
			pause := 50 * time.Millisecond
			if n%5 == 0 {
				pause = 4 * time.Second // each frame takes the stream's readings to the disk with it
			}
			select {
			case <-quit:
				return
			case <-time.After(pause):
			}
			if p.publish(&frame.Frame{Kind: frame.Readings, Source: 1, Seq: n, Millis: n * 50, Readings: []float64{40, 1}}, false) != nil {
				return
			}
			mu.Lock()
			acked = n + 1
			mu.Unlock()
		}
	})
	busy.Go(func() {
		for n := 0; ; n++ {
			select {
			case <-quit:
				return
			case <-time.After(100 * time.Millisecond):
			}
			if ok, _ := noteMark(v.address, "bench-1", fmt.Sprint(n)); !ok {
				return
			}
			mu.Lock()
			marks = n + 1
			mu.Unlock()
		}
	})
	pages := look(t, v.address)
	rng := rand.New(rand.NewPCG(uint64(*powerCuts), 1))
	var lost []time.Duration
	for cut := range *powerCuts {
		time.Sleep(time.Second + time.Duration(rng.IntN(1500))*time.Millisecond)
		mu.Lock()
		frames, noted := acked, marks
		mu.Unlock()
		shown := pages.all()
		if err := v.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
			t.Fatal(err)
		}
		at := time.Now()
		left := filepath.Join(t.TempDir(), "left")
		copyImage(t, left, image)
		if err := v.cmd.Process.Signal(syscall.SIGCONT); err != nil {
			t.Fatal(err)
		}
		lost = append(lost, road.lostOn(t, left, at, frames, noted, shown))
		if t.Failed() {
			t.Fatalf("power cut %d", cut)
		}
	}
	close(quit)
	busy.Wait()
	v.end()
	slices.Sort(lost)
	t.Logf("%d power cuts: %d frames acknowledged and %d marks answered, none lost; of a stream of 100 readings a second half the cuts cost %v or less, the worst %v",
		*powerCuts, acked, marks, lost[len(lost)/2].Round(time.Millisecond), lost[len(lost)-1].Round(time.Millisecond))
	if worst := lost[len(lost)-1]; worst > 2*time.Second {
		t.Errorf("a power cut has cost %v of readings", worst)
	}
}

// lostOn opens the record on a copied disk, and returns how much of the stream is
// missing from its end.
func (s *stream) lostOn(t *testing.T, image string, at time.Time, frames uint32, marks int, shown []told) time.Duration {
	t.Helper()
	disk, unmount := mounted(t, image)
	defer unmount()
	defer os.Remove(image)
	store, done := recordIn(t, filepath.Join(disk, "record"))
	defer done()
	inOrder(t, store)
	newest, kept := -1, map[uint32]bool{}
	for in, err := range store.Inputs(t.Context(), 1, math.MaxUint64) {
		switch {
		case err != nil:
			t.Fatal(err)
		case in.Source == "board/leg":
			if int(in.Scan.Seq) != newest+1 {
				t.Errorf("reading %d follows reading %d", in.Scan.Seq, newest)
			}
			newest = int(in.Scan.Seq)
		case in.Source == "hub/leg":
			kept[in.Scan.Seq] = true
		}
	}
	for n := range frames {
		if !kept[n] {
			t.Errorf("frame %d was acknowledged and is lost", n)
		}
	}
	all := tallied(t, store)
	for n := range marks {
		if all.noted[fmt.Sprint(n)] == 0 {
			t.Errorf("mark %d was answered and is lost", n)
		}
	}
	for _, one := range shown {
		if one.at = one.at.UTC(); (one.what == "raised" || one.what == "cleared") && all.changes[one] == 0 {
			t.Errorf("%+v was shown and is lost", one)
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for n := newest + 1; n < len(s.sent); n++ {
		if s.sent[n].Before(at) {
			return at.Sub(s.sent[n])
		}
	}
	return 0
}

// mounted mounts a file as a disk.
func mounted(t *testing.T, image string) (dir string, unmount func()) {
	t.Helper()
	dir = filepath.Join(t.TempDir(), "disk")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("mount", "-o", "loop", image, dir).CombinedOutput(); err != nil {
		t.Skipf("no disk can be mounted here: %v, %s", err, out)
	}
	return dir, func() {
		if err := unix.Unmount(dir, 0); err != nil {
			t.Errorf("%s stays mounted: %v", dir, err)
		}
	}
}

func copyImage(t *testing.T, to, from string) {
	t.Helper()
	in, err := os.Open(from)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(out, in); err != nil {
		t.Fatal(err)
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
}
