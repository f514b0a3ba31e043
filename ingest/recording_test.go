package ingest

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/capture"
	"weald/ingest/filelink"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// runFile plays content through a Supervisor to its end, in virtual time, and
// returns the scans' event times and the final status.
func runFile(t *testing.T, b Bridge, content []byte, fast bool) (at []sample.Instant, began sample.Instant, s Status) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "recording")
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	b.Link = filelink.Link{Path: path, Fast: fast, Decoder: b.Format.Decoder}
	synctest.Test(t, func(t *testing.T) {
		began = sample.At(time.Now())
		sup, err := New(b, Options{
			Now: func() sample.Instant { return sample.At(time.Now()) },
			Out: func(s *sample.Scan) { at = append(at, s.At) },
		})
		if err != nil {
			t.Fatal(err)
		}
		if err := sup.Run(t.Context()); err != nil {
			t.Fatal(err)
		}
		s = sup.Status()
	})
	if s.State != Ended || s.Trouble != "" || s.Opened != 1 {
		t.Errorf("at the end of a file: %s, %q, opened %d times", s.State, s.Trouble, s.Opened)
	}
	return at, began, s
}

func equal(t *testing.T, got []sample.Instant, want ...sample.Instant) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("event times %v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("event time %d is %v, want %v", i, got[i], want[i])
		}
	}
}

const second = sample.Instant(time.Second)

func TestAFileAtItsPaceHappensNow(t *testing.T) {
	content := []byte("t,ankle,calf\n2024-03-01T08:00:00Z,40,20\n2024-03-01T08:00:02Z,41,21\n2024-03-01T08:01:00Z,42,22\n")
	at, began, _ := runFile(t, logger(frame.TimeColumn{Column: 0, As: frame.InRFC3339}), content, false)
	equal(t, at, began, began+2*second, began+60*second)
}

func TestAFileAtOnceKeepsItsTimes(t *testing.T) {
	content := []byte("t,ankle,calf\n2024-03-01T08:00:00Z,40,20\n2024-03-01T08:00:02Z,41,21\n")
	at, _, s := runFile(t, logger(frame.TimeColumn{Column: 0, As: frame.InRFC3339}), content, true)
	first := sample.At(time.Date(2024, 3, 1, 8, 0, 0, 0, time.UTC))
	equal(t, at, first, first+2*second)
	if s.Sources[0].Trouble != "" {
		t.Errorf("an old recording is no silent source: %q", s.Sources[0].Trouble)
	}
}

func TestACaptureAtOnceKeepsItsArrivals(t *testing.T) {
	var file bytes.Buffer
	w, err := capture.NewWriter(&file, capture.Header{Bridge: "trolley", Format: "line"})
	if err != nil {
		t.Fatal(err)
	}
	for i := range uint32(5) {
		b, err := frame.AppendLine(nil, &frame.Frame{Kind: frame.Readings, Seq: i, Millis: 1000 * i, Readings: []float64{1, 2}})
		if err != nil {
			t.Fatal(err)
		}
		w.Record(sample.Instant(50+i)*second, b)
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	at, _, _ := runFile(t, twoLegs(nil), file.Bytes(), true)
	equal(t, at, 50*second, 51*second, 52*second, 53*second, 54*second)

	at, began, _ := runFile(t, twoLegs(nil), file.Bytes(), false)
	equal(t, at, began, began+second, began+2*second, began+3*second, began+4*second)
}
