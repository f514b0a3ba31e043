package ingest

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"weald/ingest/calib"
	"weald/ingest/capture"
	"weald/ingest/emulate"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// writer is a file in memory.
type writer struct{ b []byte }

func (w *writer) Write(p []byte) (int, error) { w.b = append(w.b, p...); return len(p), nil }
func (w *writer) reader() *bytes.Reader       { return bytes.NewReader(w.b) }

// playAll plays all of a recording and gives every scan to out; its error is of all that
// was wrong.
func playAll(ctx context.Context, b Bridge, r io.Reader, o PlayOptions, out func(*sample.Scan)) (Status, error) {
	p, err := NewPlayback(b, r, o)
	if err != nil {
		return Status{}, err
	}
	var errs []error
	for s, err := range p.Scans(ctx) {
		if err != nil {
			errs = append(errs, err)
			continue
		}
		out(s)
	}
	return p.Status(), errors.Join(errs...)
}

// logger is a delimited bridge with one source of two channels in mmHg.
func logger(t frame.TimeColumn) Bridge {
	return Bridge{
		ID: "logger",
		Format: Format{Kind: Delimited, Delimited: frame.Delimited{
			Separator: ",", HeaderLines: 1, Time: t, Channels: []int{1, 2}, Source: frame.SourceColumn{Column: -1}, Empty: []string{"NA"},
		}},
		Sources: []Source{{ID: "logger/leg", Channels: 2, Rate: 2, StaleAfter: 2 * time.Second, Unit: calib.MMHg}},
	}
}

func TestRowsArriveWhenTheyWereMeasured(t *testing.T) {
	const file = "t,ankle,calf\n0.5,40,20\n1.0,41,NA\n1.75,42,22"
	var at, arrived []sample.Instant
	s, err := playAll(t.Context(), logger(frame.TimeColumn{Column: 0, As: frame.InSeconds}), strings.NewReader(file), PlayOptions{}, func(s *sample.Scan) {
		at = append(at, s.At)
		arrived = append(arrived, s.Arrived)
	})
	want := []sample.Instant{5e8, 1e9, 1.75e9}
	if err != nil || len(at) != 3 {
		t.Fatalf("%d scans, %v", len(at), err)
	}
	for i := range want {
		if at[i] != want[i] || arrived[i] != want[i] {
			t.Errorf("row %d: at %v, arrived %v, want %v", i, at[i], arrived[i], want[i])
		}
	}
	if s.State != Ended || s.Sources[0].Scans != 3 || s.Trouble != "" {
		t.Errorf("status: %+v", s)
	}
}

func TestAPlainRecordingKeepsTheDevicesPace(t *testing.T) {
	var file []byte
	for i := range uint32(50) {
		ms := uint32(1<<32-1000) + 100*i // wraps on the way
		var err error
		file, err = frame.AppendLine(file, &frame.Frame{Kind: frame.Readings, Source: 1, Seq: i, Millis: ms, Readings: []float64{1, 2}})
		if err != nil {
			t.Fatal(err)
		}
	}
	n := 0
	s, err := playAll(t.Context(), twoLegs(nil), bytes.NewReader(file), PlayOptions{}, func(s *sample.Scan) {
		if want := sample.Instant(n) * 1e8; s.At != want || s.Arrived != want {
			t.Fatalf("scan %d: at %v, arrived %v, want %v", n, s.At, s.Arrived, want)
		}
		n++
	})
	if err != nil || n != 50 || s.Sources[1].Epochs != 1 {
		t.Errorf("%d scans in %d epochs, %v", n, s.Sources[1].Epochs, err)
	}
}

func TestPlaySaysWhatIsWrong(t *testing.T) {
	rows := logger(frame.TimeColumn{Column: 0, As: frame.InSeconds})
	none := func(*sample.Scan) {}
	if _, err := playAll(t.Context(), rows, strings.NewReader("t,p"), PlayOptions{Capture: true}, none); !errors.Is(err, capture.ErrNoCapture) {
		t.Errorf("rows as a capture: %v", err)
	}
	var file writer
	w, _ := capture.NewWriter(&file, capture.Header{Bridge: "logger", Format: "packed"})
	w.Record(0, []byte("x"))
	w.Flush()
	if _, err := playAll(t.Context(), rows, file.reader(), PlayOptions{Capture: true}, none); err == nil || !strings.Contains(err.Error(), "it is of format packed") {
		t.Errorf("another format: %v", err)
	}
	packed := rows
	packed.Format = Format{Kind: Packed}
	if _, err := playAll(t.Context(), packed, bytes.NewReader(file.b[:len(file.b)-1]), PlayOptions{Capture: true}, none); !errors.Is(err, capture.ErrTorn) {
		t.Errorf("a cut capture: %v", err)
	}
	s, err := playAll(t.Context(), packed, strings.NewReader(strings.Repeat("1,2,3\n", 100)), PlayOptions{}, none)
	if err != nil || !strings.Contains(s.Trouble, "no frame of format packed: it is text") {
		t.Errorf("rows as packed: %q, %v", s.Trouble, err)
	}
	broken := errors.New("disk on fire")
	if _, err := playAll(t.Context(), rows, io.MultiReader(strings.NewReader("t\n1,2,3\n"), failing{broken}), PlayOptions{}, none); !errors.Is(err, broken) {
		t.Errorf("a reader's error came as %v", err)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := playAll(ended, rows, strings.NewReader("t\n1,2,3\n"), PlayOptions{}, none); !errors.Is(err, context.Canceled) {
		t.Errorf("with an ended context: %v", err)
	}
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

func TestScansCanBeLeftEarly(t *testing.T) {
	p, err := NewPlayback(logger(frame.TimeColumn{Column: 0, As: frame.InSeconds}), strings.NewReader("t\n1,2,3\n2,2,3\n3,2,3\n"), PlayOptions{})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for range p.Scans(t.Context()) {
		if n++; n == 2 {
			break
		}
	}
	if n != 2 {
		t.Errorf("%d scans", n)
	}
}

// matCapture is a capture of n scans of a mat at one a second, each one read.
func matCapture(tb testing.TB, n int) []byte {
	tb.Helper()
	scenario, err := emulate.Named("bed")
	if err != nil {
		tb.Fatal(err)
	}
	stream := scenario.New(4, 1)
	var file writer
	w, err := capture.NewWriter(&file, capture.Header{Bridge: "hub", Format: "packed"})
	if err != nil {
		tb.Fatal(err)
	}
	var s emulate.Scan
	var b []byte
	for i := range uint32(n) {
		if err := stream.Next(&s); err != nil {
			tb.Fatal(err)
		}
		b, err = frame.AppendWire(b[:0], &frame.Frame{Kind: frame.Readings, Source: 4, Seq: i, Millis: 1000 * i, Readings: s.Values}, frame.U12)
		if err != nil {
			tb.Fatal(err)
		}
		if err := w.Record(sample.Instant(i)*1e9, b); err != nil {
			tb.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		tb.Fatal(err)
	}
	return file.b
}

func mat() Bridge {
	return Bridge{
		ID: "hub", Format: Format{Kind: Packed},
		Sources: []Source{{Number: 4, ID: "hub/mat4", Channels: 2048, Rate: 1, StaleAfter: 3 * time.Second, Calibration: []calib.Line{{Slope: 0.05}}}},
	}
}

func TestPlayAllocatesNothingPerScan(t *testing.T) {
	measure := func(n int) float64 {
		file := matCapture(t, n)
		return testing.AllocsPerRun(3, func() {
			if _, err := playAll(t.Context(), mat(), bytes.NewReader(file), PlayOptions{Capture: true}, func(*sample.Scan) {}); err != nil {
				t.Fatal(err)
			}
		})
	}
	if few, many := measure(50), measure(1050); many > few+10 {
		t.Errorf("a thousand scans more cost %v allocations more", many-few)
	}
}

// BenchmarkPlayMat plays a capture of a 2,048-cell mat up to calibrated scans.
func BenchmarkPlayMat(b *testing.B) {
	const n = 2000
	file := matCapture(b, n)
	b.SetBytes(int64(len(file)))
	scans := 0
	for b.Loop() {
		if _, err := playAll(b.Context(), mat(), bytes.NewReader(file), PlayOptions{Capture: true}, func(*sample.Scan) { scans++ }); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(scans)/2048, "ns/cell")
	b.ReportMetric(b.Elapsed().Seconds()/float64(scans)*86400, "s/day")
}
