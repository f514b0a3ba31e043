package importing

import (
	"bufio"
	"bytes"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest"
	"weald/ingest/calib"
	"weald/ingest/capture"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// leg is a bridge with one source of two channels in mmHg, whose values last 3 s.
func leg(f ingest.Format) ingest.Bridge {
	return ingest.Bridge{ID: "logger", Format: f, Sources: []ingest.Source{{
		Number: 0, ID: "logger/leg", Index: 4, Channels: 2, Rate: 1, StaleAfter: 3 * time.Second, Unit: calib.MMHg,
	}}}
}

// rows is a logger's file of a time and two channels.
func rows(t frame.TimeColumn, columns ...int) ingest.Bridge {
	if len(columns) == 0 {
		columns = []int{1, 2}
	}
	return leg(ingest.Format{Kind: ingest.Delimited, Delimited: frame.Delimited{
		Separator: ";", Decimal: ',', Time: t, Channels: columns, Source: frame.SourceColumn{Column: -1}, Empty: []string{"NA"},
	}})
}

func seconds() ingest.Bridge { return rows(frame.TimeColumn{Column: 0, As: frame.InSeconds}) }

// local is a file with times as clocks on a wall in Berlin show them.
func local(t *testing.T) ingest.Bridge {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skipf("no time zones here: %v", err)
	}
	return rows(frame.TimeColumn{Column: 0, As: frame.InLayout, Layout: time.DateTime, Zone: zone})
}

// imported imports content and returns the account and the new file.
func imported(t testing.TB, b ingest.Bridge, content []byte) (*Account, string) {
	t.Helper()
	dir := t.TempDir()
	in, out := filepath.Join(dir, "in"), filepath.Join(dir, "out.wcap")
	if err := os.WriteFile(in, content, 0o600); err != nil {
		t.Fatal(err)
	}
	a, err := File(t.Context(), b, in, out, Options{Most: 10})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"in"}
	if a.Output != "" {
		want = append(want, "out.wcap")
	}
	if got := names(t, dir); !slices.Equal(got, want) {
		t.Errorf("the folder holds %v, want %v", got, want)
	}
	return a, out
}

func names(t testing.TB, dir string) (names []string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

// scans plays a recording or a capture and keeps copies of its scans.
func scans(t testing.TB, b ingest.Bridge, content []byte) (all []sample.Scan) {
	t.Helper()
	r := bufio.NewReader(bytes.NewReader(content))
	p, err := ingest.NewPlayback(b, r, ingest.PlayOptions{Capture: capture.Begins(r)})
	if err != nil {
		t.Fatal(err)
	}
	for s, err := range p.Scans(t.Context()) {
		var corrupt *capture.CorruptError
		switch {
		case err == nil:
			c := *s
			c.Values, c.Raw = slices.Clone(s.Values), slices.Clone(s.Raw)
			all = append(all, c)
		case !errors.As(err, &corrupt) && !errors.Is(err, capture.ErrTorn):
			t.Fatal(err)
		}
	}
	return all
}

// same reports whether two recordings give the same scans, source by source.
func same(a, b []sample.Scan) bool {
	bits := func(x, y float64) bool { return math.Float64bits(x) == math.Float64bits(y) }
	bySource := func(x, y sample.Scan) int { return x.Source - y.Source }
	slices.SortStableFunc(a, bySource)
	slices.SortStableFunc(b, bySource)
	return slices.EqualFunc(a, b, func(x, y sample.Scan) bool {
		return x.Source == y.Source && x.At == y.At && x.Arrived == y.Arrived && x.Stored == y.Stored &&
			slices.EqualFunc(x.Values, y.Values, bits) && slices.EqualFunc(x.Raw, y.Raw, bits)
	})
}

// exact imports content and fails unless the result plays as the original does.
func exact(t testing.TB, b ingest.Bridge, content []byte) *Account {
	t.Helper()
	a, out := imported(t, b, content)
	want := scans(t, b, content)
	if a.Output == "" {
		if len(want) > 0 {
			t.Fatalf("nothing was written of %d scans", len(want))
		}
		return a
	}
	got, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	if a.Written != int64(len(got)) {
		t.Errorf("says %d bytes, wrote %d", a.Written, len(got))
	}
	if again := scans(t, b, got); !same(again, want) {
		t.Fatalf("the import gives %d scans, others than the %d of the original", len(again), len(want))
	}
	return a
}

// at reads a time of the test.
func at(t testing.TB, text string) sample.Instant {
	t.Helper()
	v, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		t.Fatal(err)
	}
	return sample.At(v)
}

func lines(text ...string) []byte { return []byte(strings.Join(text, "\n") + "\n") }
