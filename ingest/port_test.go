package ingest

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"weald/ingest/calib"
	"weald/ingest/capture"
	"weald/ingest/emulate"
	"weald/ingest/frame"
	"weald/ingest/sample"
	"weald/ingest/serialport"
)

// eventually waits until f is true, and no longer than a test may.
func eventually(t *testing.T, what string, f func() bool) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); !f(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("not within 10 s: %s", what)
		}
	}
}

// play sends a mat to port until the test ends, at ten times its pace.
func play(t *testing.T, port *emulate.Port) {
	t.Helper()
	scenario, err := emulate.Named("bed")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	player := emulate.Player{Stream: scenario.New(4, 1), Encoding: scenario.Encoding, Speed: 10, Firmware: "test 1"}
	go func() {
		defer close(done)
		_ = player.Play(ctx, port) // ends with ctx
	}()
	t.Cleanup(func() { cancel(); <-done })
}

func TestARealPortIsPulledAndComesBack(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "ttyACM0")
	const cells = emulate.MatRows * emulate.MatColumns
	var scans, wrong atomic.Int64
	sup, err := New(Bridge{
		ID: "hub", Link: serialport.Link{Path: path}, Format: Format{Kind: Packed},
		Sources: []Source{{
			Number: 4, ID: "hub/mat4", Channels: cells, Rate: 2, StaleAfter: time.Second,
			Calibration: []calib.Line{{Slope: 0.05}},
		}},
		Capture: filepath.Join(dir, "hub.wcap"),
	}, Options{
		Now:   func() sample.Instant { return sample.At(time.Now()) },
		Speed: 10,
		Out: func(s *sample.Scan) {
			scans.Add(1)
			if len(s.Values) != cells {
				wrong.Add(1)
			}
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	done := make(chan error, 1)
	go func() { done <- sup.Run(ctx) }()

	eventually(t, "a missing port is said", func() bool {
		return sup.Status().Trouble == "no such port: "+path+"; is the bridge plugged in?"
	})
	port, err := emulate.NewPort(path)
	if err != nil {
		t.Fatal(err)
	}
	defer port.Close()
	play(t, port)
	eventually(t, "scans come", func() bool { return scans.Load() >= 5 })
	if s := sup.Status(); s.State != Open || s.Trouble != "" || s.Sources[0].Health.Firmware != "test 1" {
		t.Errorf("while it works: %s, %q, %+v", s.State, s.Trouble, s.Sources[0].Health)
	}

	port.Unplug()
	eventually(t, "the pulled plug is said", func() bool {
		s := sup.Status()
		return strings.Contains(s.Trouble, serialport.ErrUnplugged.Error()) || strings.Contains(s.Trouble, "plugged in?")
	})
	before := scans.Load()
	if err := port.Plug(); err != nil {
		t.Fatal(err)
	}
	eventually(t, "scans come again", func() bool { return scans.Load() >= before+5 })
	s := sup.Status()
	if s.Opened != 2 || s.State != Open || s.Trouble != "" || wrong.Load() != 0 {
		t.Errorf("after the replug: opened %d times, %s, %q, %d scans of another size", s.Opened, s.State, s.Trouble, wrong.Load())
	}
	cancel()
	select {
	case err := <-done:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(10 * time.Second):
		t.Fatal("Run goes on 10 s after its context ended")
	}

	// What was captured gives the same scans, to the last one.
	s = sup.Status()
	f, err := os.Open(s.Capture.File)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	again := 0
	b := sup.bridge
	played, err := playAll(t.Context(), b, f, PlayOptions{Capture: true}, func(*sample.Scan) { again++ })
	if err != nil {
		t.Fatal(err)
	}
	if again != int(scans.Load()) || played.Bytes != s.Bytes || played.Frames != s.Frames {
		t.Errorf("live: %d scans of %d bytes; again: %d of %d", scans.Load(), s.Bytes, again, played.Bytes)
	}
	if info, _ := f.Stat(); info.Size() != s.Capture.Bytes {
		t.Errorf("the capture has %d bytes, the status says %d", info.Size(), s.Capture.Bytes)
	}
}

func TestACaptureThatCannotBeWrittenDisturbsNobody(t *testing.T) {
	folder := t.TempDir()
	bridge := func(l Link) Bridge {
		b := twoLegs(l)
		b.Capture = filepath.Join(folder, "no", "such", "folder.wcap")
		return b
	}
	bubble(t, bridge, func(r *rig) {
		r.line(0, 40, 20)
		if s := r.sup.Status(); len(r.scans()) != 1 || !strings.Contains(s.Capture.Error, "no such file or directory") {
			t.Errorf("%d scans, capture: %+v", len(r.scans()), s.Capture)
		}
	})
}

// A capture of two connections, the first cut in mid-frame, plays as it was.
func TestConnectionsStayApartInACapture(t *testing.T) {
	var file writer
	w, err := capture.NewWriter(&file, capture.Header{Bridge: "trolley", Format: "line"})
	if err != nil {
		t.Fatal(err)
	}
	line := func(seq uint32, v float64) []byte {
		b, err := frame.AppendLine(nil, &frame.Frame{Kind: frame.Readings, Seq: seq, Millis: 1000 * seq, Readings: []float64{v, v}})
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	w.Connected(0)
	w.Record(1*second, line(1, 11))
	w.Record(2*second, line(2, 12)[:7])
	w.Connected(3 * second)
	w.Record(4*second, line(4, 14))
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	var got []float64
	var at []sample.Instant
	s, err := playAll(t.Context(), twoLegs(nil), file.reader(), PlayOptions{Capture: true}, func(s *sample.Scan) {
		got = append(got, s.Values[0])
		at = append(at, s.At)
	})
	if err != nil || len(got) != 2 || got[0] != 11 || got[1] != 14 {
		t.Fatalf("values %v, %v", got, err)
	}
	if at[0] != second || at[1] != 4*second {
		t.Errorf("event times %v, want the recorded arrivals of an undelayed line", at)
	}
	if s.BadFrames() != 1 || s.Sources[0].Gaps != 2 {
		t.Errorf("%d bad frames and %d missing, want the cut one and two", s.BadFrames(), s.Sources[0].Gaps)
	}
}
