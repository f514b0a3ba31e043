package health

import (
	"bufio"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
)

var nan = math.NaN()

func mat(t testing.TB, rows, columns int) *Monitor {
	t.Helper()
	return monitor(t, Config{Channels: rows * columns, Rows: rows, Columns: columns})
}

func monitor(t testing.TB, c Config) *Monitor {
	t.Helper()
	m, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// A rig plays one scan after the other to a Monitor.
type rig struct {
	t     testing.TB
	m     *Monitor
	at    sample.Instant
	every time.Duration
	rail  float64
}

func newRig(t testing.TB, c Config, every time.Duration) *rig {
	return &rig{t: t, m: monitor(t, c), every: every, rail: 4095}
}

func (r *rig) scan(raw []float64) {
	r.at = r.at.Add(r.every)
	r.m.Scan(r.at, raw, r.rail)
}

// run plays scans for d; at the n-th, reading gives channel i.
func (r *rig) run(d time.Duration, reading func(n, i int) float64) {
	raw := make([]float64, len(r.m.cells))
	for n := range int(d / r.every) {
		for i := range raw {
			raw[i] = reading(n, i)
		}
		r.scan(raw)
	}
}

// wants says which channels are to be in which state; all others are to be
// sound.
func (r *rig) wants(story string, want map[int]State) {
	r.t.Helper()
	for i := range r.m.cells {
		if got, since := r.m.State(i); got != want[i] {
			r.t.Errorf("%s: at %v channel %d is %v since %v, want %v", story, r.at, i, got, since, want[i])
		}
	}
}

func (r *rig) report() *Report {
	var rep Report
	r.m.Report(&rep)
	return &rep
}

// finding returns what is reported of channel i.
func (r *rig) finding(i int) Finding {
	r.t.Helper()
	for _, f := range r.report().Findings {
		if f.Channel == i {
			return f
		}
	}
	r.t.Fatalf("nothing is reported of channel %d", i)
	return Finding{}
}

// rows yields the lines of a recording as fields.
func rows(t testing.TB, file string, yield func(fields []string)) {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	s := bufio.NewScanner(f)
	s.Buffer(nil, 1<<20)
	for s.Scan() {
		yield(strings.FieldsFunc(s.Text(), func(r rune) bool { return r == ',' || r == ' ' || r == '\t' }))
	}
	if err := s.Err(); err != nil {
		t.Fatal(err)
	}
}

// numbers reads fields; what is no number is NaN.
func numbers(fields []string, into []float64) []float64 {
	into = into[:0]
	for _, s := range fields {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			v = nan
		}
		into = append(into, v)
	}
	return into
}
