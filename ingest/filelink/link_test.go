package filelink

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"

	"weald/ingest/capture"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func written(t *testing.T, content []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "recording")
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func rows() (frame.Decoder, error) {
	return frame.NewDelimited(frame.Delimited{
		Separator: ",", HeaderLines: 1, Channels: []int{1}, Source: frame.SourceColumn{Column: -1},
		Time: frame.TimeColumn{Column: 0, As: frame.InSeconds},
	})
}

func line() (frame.Decoder, error)   { return frame.NewLine(), nil }
func packed() (frame.Decoder, error) { return frame.NewPacked(), nil }

func frames(t *testing.T, format string, millis ...uint32) []byte {
	t.Helper()
	var b []byte
	for i, ms := range millis {
		f := &frame.Frame{Kind: frame.Readings, Seq: uint32(i), Millis: ms, Readings: []float64{256, 7}}
		var err error
		if format == "line" {
			b, err = frame.AppendLine(b, f)
		} else {
			b, err = frame.AppendWire(b, f, frame.U12)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return b
}

// captureOf is a capture of the chunks, a second apart.
func captureOf(t *testing.T, chunks ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := capture.NewWriter(&b, capture.Header{Bridge: "b", Format: "line"})
	if err != nil {
		t.Fatal(err)
	}
	w.Connected(100e9)
	for i, c := range chunks {
		w.Record(sample.Instant(100+i)*1e9, []byte(c))
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// What a link marked as come before is marked when its capture is played, fast or not, and
// nothing else says anything about that.
func TestMarksArePlayed(t *testing.T) {
	var b bytes.Buffer
	w, err := capture.NewWriter(&b, capture.Header{Bridge: "b", Format: "line", Again: true})
	if err != nil {
		t.Fatal(err)
	}
	want := []bool{false, true, true, false}
	for i, again := range want {
		write := w.Record
		if again {
			write = w.Again
		}
		write(sample.Instant(i), []byte("one"))
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	type again interface{ Again() bool }
	for _, fast := range []bool{false, true} {
		conn, err := Link{Path: written(t, b.Bytes()), Fast: fast}.Open(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for i := range want {
			if _, err := conn.Read(make([]byte, 8)); err != nil || conn.(again).Again() != want[i] {
				t.Errorf("fast %t, record %d: marked %t, %v", fast, i, conn.(again).Again(), err)
			}
		}
		conn.Close()
		if conn, err = (Link{Path: written(t, captureOf(t, "one")), Fast: fast}).Open(t.Context()); err != nil {
			t.Fatal(err)
		}
		if _, ok := conn.(again); ok {
			t.Errorf("fast %t: a capture without marks may deliver again", fast)
		}
		conn.Close()
	}
}

func TestPiecesComeAtTheirTime(t *testing.T) {
	for _, c := range []struct {
		name    string
		content []byte
		link    Link
		want    []time.Duration // of each read
	}{
		{"rows", []byte("t,p\n10.0,1\n10.5,2\noops\n13,3\n2,4\n3,5"), Link{Decoder: rows},
			[]time.Duration{0, 0, 500 * time.Millisecond, 500 * time.Millisecond, 3 * time.Second, 3 * time.Second, 4 * time.Second}},
		{"line over the wrap", frames(t, "line", 1<<32-100, 100, 1100), Link{Decoder: line},
			[]time.Duration{0, 200 * time.Millisecond, 1200 * time.Millisecond}},
		{"line at speed 10", frames(t, "line", 0, 1000), Link{Decoder: line, Speed: 10},
			[]time.Duration{0, 100 * time.Millisecond}},
		{"packed", frames(t, "packed", 5, 505), Link{Decoder: packed},
			[]time.Duration{0, 500 * time.Millisecond}},
		{"capture", captureOf(t, "one", "two", "three"), Link{},
			[]time.Duration{0, time.Second, 2 * time.Second}},
		{"fast rows", []byte("t,p\n10.0,1\n99,2\n"), Link{Fast: true}, []time.Duration{0}},
		{"fast capture", captureOf(t, "one", "two"), Link{Fast: true}, []time.Duration{0, 0}},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.link.Path = written(t, c.content)
			synctest.Test(t, func(t *testing.T) {
				began := time.Now()
				conn, err := c.link.Open(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				defer conn.Close()
				var got []byte
				buf := make([]byte, 4096)
				for i := 0; ; i++ {
					n, err := conn.Read(buf)
					if err == io.EOF {
						if i != len(c.want) {
							t.Errorf("%d reads, want %d", i, len(c.want))
						}
						break
					}
					if err != nil {
						t.Fatal(err)
					}
					got = append(got, buf[:n]...)
					if at := time.Since(began); i < len(c.want) && at != c.want[i] {
						t.Errorf("read %d %q came after %v, want %v", i, buf[:n], at, c.want[i])
					}
				}
				if !strings.Contains(c.name, "capture") && !bytes.Equal(got, c.content) {
					t.Error("the bytes are not those of the file")
				}
			})
		})
	}
}

func TestACaptureSaysWhenItsBytesArrived(t *testing.T) {
	damaged := captureOf(t, "one", "two", "three")
	damaged[bytes.Index(damaged, []byte("two"))]++
	conn, err := Link{Path: written(t, damaged), Fast: true}.Open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	stamped := conn.(interface {
		ReadStamped([]byte) (int, sample.Instant, error)
	})
	var got []string
	buf := make([]byte, 4) // "three" needs two reads
	for {
		n, at, err := stamped.ReadStamped(buf)
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, string(buf[:n])+"@"+(time.Duration(at).String()))
	}
	if want := "one@1m40s thre@1m42s e@1m42s"; strings.Join(got, " ") != want {
		t.Errorf("%q, want %q", got, want)
	}
}

func TestCloseEndsAWait(t *testing.T) {
	conn, err := Link{Path: written(t, []byte("t,p\n0,1\n3600,2\n")), Decoder: rows}.Open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() {
		buf := make([]byte, 100)
		for {
			if _, err := conn.Read(buf); err != nil {
				done <- err
				return
			}
		}
	}()
	time.AfterFunc(20*time.Millisecond, func() { conn.Close() })
	select {
	case err := <-done:
		if !errors.Is(err, os.ErrClosed) {
			t.Error(err)
		}
	case <-time.After(5 * time.Second):
		t.Fatal("the wait for a row an hour away goes on after Close")
	}
}

func TestOpenSaysWhatIsWrong(t *testing.T) {
	missing := filepath.Join(t.TempDir(), "k07.csv")
	folder := t.TempDir()
	torn := written(t, captureOf(t)[:10])
	for path, want := range map[string]string{
		missing: "no such file: " + missing,
		folder:  folder + ": it is a folder",
		torn:    torn + ": the capture was cut short in its header",
	} {
		if _, err := (Link{Path: path, Decoder: rows}).Open(t.Context()); err == nil || err.Error() != want {
			t.Errorf("%v, want %q", err, want)
		}
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := (Link{Path: torn}).Open(ended); !errors.Is(err, context.Canceled) {
		t.Errorf("with an ended context: %v", err)
	}
	bad := Link{Path: written(t, []byte("1,2\n")), Decoder: func() (frame.Decoder, error) { return nil, errors.New("separator is missing") }}
	if _, err := bad.Open(t.Context()); err == nil || !strings.Contains(err.Error(), "separator is missing") {
		t.Errorf("a decoder's error came as %v", err)
	}
}

// Bytes that no frame ends come in pieces, and end.
func TestGarbageIsPassedOn(t *testing.T) {
	content := bytes.Repeat([]byte{7}, 200_000)
	p := newPieces(bufio.NewReaderSize(bytes.NewReader(content), 1<<16), '\n', frame.NewLine())
	total := 0
	for {
		got, err := p.next()
		total += len(got.bytes)
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if total != len(content) {
		t.Errorf("%d bytes of %d", total, len(content))
	}
}
