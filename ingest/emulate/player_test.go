package emulate

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"go.uber.org/goleak"

	"weald/ingest/frame"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// heard is what a decoder found.
type heard struct {
	frames []frame.Frame
	bad    int
}

func (h *heard) Frame(f *frame.Frame) {
	c := *f
	c.Readings = append([]float64(nil), f.Readings...)
	h.frames = append(h.frames, c)
}
func (h *heard) Bad(*frame.Bad) { h.bad++ }

// playAll plays n scans of a 5 Hz ramp on four channels as fast as it goes.
func playAll(t *testing.T, p Player, n int) *heard {
	t.Helper()
	p.Stream = &limited{Stream: NewSampled(9, 4, 5, ramp{}, exact, 0), n: n}
	var wire bytes.Buffer
	if err := p.Play(t.Context(), &wire); err != nil {
		t.Fatal(err)
	}
	var h heard
	var d frame.Decoder = frame.NewPacked()
	if p.Encoding.Line {
		d = frame.NewLine()
	}
	d.Feed(wire.Bytes(), &h)
	d.Flush(&h)
	return &h
}

// limited ends a stream after n scans.
type limited struct {
	Stream
	n int
}

func (l *limited) Next(s *Scan) error {
	if l.n--; l.n < 0 {
		return io.EOF
	}
	return l.Stream.Next(s)
}

func TestWhatIsPlayedIsDecoded(t *testing.T) {
	for name, encoding := range map[string]Encoding{
		"line": {Line: true}, "u16": {Coding: frame.U16}, "u12": {Coding: frame.U12}, "u8": {Coding: frame.U8},
	} {
		h := playAll(t, Player{Encoding: encoding, Starts: math.MaxUint32 - 100, Skew: 1000}, 11)
		if h.bad != 0 || len(h.frames) != 11 {
			t.Fatalf("%s: %d good and %d bad frames, want 11 and none", name, len(h.frames), h.bad)
		}
		last := h.frames[10]
		// 2 s later by a clock that is 0.1 % fast, over the wrap.
		if want := uint32(2002 - 101); last.Seq != 10 || last.Millis != want || last.Source != 9 {
			t.Errorf("%s: last frame is seq %d at %d ms of source %d, want 10, %d, 9", name, last.Seq, last.Millis, last.Source, want)
		}
		if got := last.Readings; len(got) != 4 || got[0] != 20 || got[3] != 50 {
			t.Errorf("%s: readings %v", name, got)
		}
	}
}

func TestLargeScansAreSplit(t *testing.T) {
	h := playAll(t, Player{Encoding: Encoding{Coding: frame.U12, Split: 3}}, 2)
	if len(h.frames) != 4 {
		t.Fatalf("%d frames, want 4", len(h.frames))
	}
	for i, f := range h.frames {
		first, n, more := 3*(i%2), 3-2*(i%2), i%2 == 0
		if f.First != first || len(f.Readings) != n || f.More != more || f.Seq != uint32(i) {
			t.Errorf("frame %d: %+v", i, f)
		}
	}
}

func TestSourcesSayHowTheyAre(t *testing.T) {
	h := playAll(t, Player{Encoding: Encoding{Coding: frame.U12}, Firmware: "larch 1"}, 5*61)
	var told []frame.Frame
	for i, f := range h.frames {
		if f.Seq != uint32(i) {
			t.Fatalf("frame %d has seq %d: every frame counts", i, f.Seq)
		}
		if f.Kind == frame.Status {
			told = append(told, f)
		}
	}
	if len(told) != 2 || told[0].Health.Firmware != "larch 1" || told[1].Health.UptimeS != 60 {
		t.Errorf("in 61 s: %+v, want one at once and one after a minute", told)
	}
}

func TestDamageIsDone(t *testing.T) {
	const n = 2000
	plain := playAll(t, Player{Encoding: Encoding{Coding: frame.U12}}, n)
	if len(plain.frames) != n || plain.bad != 0 {
		t.Fatalf("a sound line gives %d good, %d bad", len(plain.frames), plain.bad)
	}
	near := func(what string, got int, share float64) {
		t.Helper()
		if want := share * n; math.Abs(float64(got)-want) > 5*math.Sqrt(want) {
			t.Errorf("%s: %d of %d, want about %.0f", what, got, n, want)
		}
	}
	near("dropped", n-len(playAll(t, Player{Damage: Damage{Drop: 0.1}}, n).frames), 0.1)
	near("repeated", len(playAll(t, Player{Damage: Damage{Repeat: 0.1}}, n).frames)-n, 0.1)
	flipped := playAll(t, Player{Damage: Damage{Flip: 0.1}}, n)
	near("flipped", n-len(flipped.frames), 0.1)
	noisy := playAll(t, Player{Damage: Damage{Noise: 0.1}}, n)
	if noisy.bad < n/20 || len(noisy.frames) < n*8/10 {
		t.Errorf("noise: %d good, %d bad", len(noisy.frames), noisy.bad)
	}
}

func TestPlayKeepsItsPace(t *testing.T) {
	p := Player{Stream: &limited{Stream: NewSampled(0, 1, 10, ramp{}, exact, 0), n: 11}, Speed: 10}
	began := time.Now()
	if err := p.Play(t.Context(), io.Discard); err != nil {
		t.Fatal(err)
	}
	if took := time.Since(began); took < 100*time.Millisecond || took > 3*time.Second {
		t.Errorf("a second at speed 10 took %v", took)
	}
}

func TestAPortCarriesBytesAndIsPulled(t *testing.T) {
	path := filepath.Join(t.TempDir(), "port")
	port, err := NewPort(path)
	if err != nil {
		t.Fatal(err)
	}
	defer port.Close()
	sent := []byte("w1\r\n\x00\x03\x04\x11\x13\x7f\xff")
	if _, err := port.Write(sent); err != nil { // before anybody has opened it
		t.Fatal(err)
	}
	reader, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	reader.SetReadDeadline(time.Now().Add(5 * time.Second))
	got := make([]byte, len(sent))
	if _, err := io.ReadFull(reader, got); err != nil || !bytes.Equal(got, sent) {
		t.Fatalf("read %q, %v, want %q", got, err, sent)
	}
	port.Unplug()
	if _, err := reader.Read(got); err == nil || errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("a line without a plug gave %v, want an error at once", err)
	}
	if _, err := os.Lstat(path); !os.IsNotExist(err) {
		t.Errorf("the path is still there: %v", err)
	}
	if n, err := port.Write(sent); n != len(sent) || err != nil {
		t.Errorf("writing into the air: %d, %v", n, err)
	}
	if err := port.Plug(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(path); err != nil {
		t.Errorf("after the replug: %v", err)
	}
	if _, err := NewPort(filepath.Join(filepath.Dir(path), "no", "such")); err == nil {
		t.Error("a port in a folder that is not there")
	}
	file := filepath.Join(filepath.Dir(path), "file")
	os.WriteFile(file, []byte("mine"), 0o600)
	if _, err := NewPort(file); err == nil {
		t.Error("a port replaced a file")
	}
}

// A reader that stops costs scans, not memory, and does not keep Play alive.
func TestPlayEndsWhileTheLineIsFull(t *testing.T) {
	port, err := NewPort(filepath.Join(t.TempDir(), "port"))
	if err != nil {
		t.Fatal(err)
	}
	defer port.Close()
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer cancel()
	p := Player{Stream: bed(1, 1, 1, Lie{Posture: Supine, For: time.Minute}), Encoding: packed12}
	done := make(chan error, 1)
	go func() { done <- p.Play(ctx, port) }()
	select {
	case err := <-done:
		if !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("%v, want the end of the context", err)
		}
	case <-time.After(5 * time.Second):
		t.Fatal("Play waits for ever on a full line")
	}
}

func TestTheDemoPlays(t *testing.T) {
	dir := t.TempDir()
	d, err := NewDemo(dir, DemoOptions{Speed: 20})
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	if !bytes.Contains([]byte(d.Config()), []byte(filepath.Join(dir, "ports", "hub-2"))) {
		t.Error("the configuration does not name the ports")
	}
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	done := make(chan error, 1)
	go func() { done <- d.Run(ctx) }()
	for _, id := range []string{"hub-1", "hub-2", "trolley", "chairs"} {
		reader, err := os.OpenFile(filepath.Join(dir, "ports", id), os.O_RDWR, 0)
		if err != nil {
			t.Fatal(err)
		}
		defer reader.Close()
		reader.SetReadDeadline(time.Now().Add(5 * time.Second))
		var h heard
		var dec frame.Decoder = frame.NewPacked()
		if id == "trolley" {
			dec = frame.NewLine()
		}
		sources := map[uint16]bool{}
		buf := make([]byte, 4096)
		for len(h.frames) < 12 {
			n, err := reader.Read(buf)
			if err != nil {
				t.Fatalf("%s: %v after %d frames", id, err, len(h.frames))
			}
			dec.Feed(buf[:n], &h)
		}
		for _, f := range h.frames {
			sources[f.Source] = true
		}
		if len(sources) < 2 || h.bad > 2 {
			t.Errorf("%s: sources %v, %d bad frames", id, sources, h.bad)
		}
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}
