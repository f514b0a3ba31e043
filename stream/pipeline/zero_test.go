package pipeline

import (
	"context"
	"errors"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/hostclock"
	"weald/stream/view"
)

// A bench is a pipeline to which a source of two channels sends ten scans a second of
// event time, as fast as they are taken.
type bench struct {
	*Pipeline
	d    *diary
	show func(i int) (float64, float64)
}

func newBench(t *testing.T, fail error, show func(i int) (float64, float64)) *bench {
	t.Helper()
	plan := &rules.Plan{Sources: []rules.Source{{ID: "b/s", Channels: 2, StaleAfter: time.Minute, Calibrated: true}}}
	d := &diary{fail: fail}
	clock := hostclock.New(1)
	b := &bench{New(Options{Plan: plan, Clock: clock, Views: view.New(plan, nil, time.UTC), Recorder: d}), d, show}
	ctx, cancel := context.WithCancel(t.Context())
	var running sync.WaitGroup
	running.Go(func() { _ = b.Run(ctx) })
	running.Go(func() {
		for i := 0; ctx.Err() == nil; i++ {
			first, second := b.show(i)
			at := clock.Now().Add(time.Duration(i) * 100 * time.Millisecond)
			_ = b.PutAndWait(ctx, &sample.Scan{At: at, Arrived: at, Raw: []float64{100, 200}, Values: []float64{first, second}})
		}
	})
	t.Cleanup(func() { cancel(); running.Wait() })
	return b
}

// values returns what was kept of the newest scan.
func (b *bench) values(t *testing.T) (out string) {
	t.Helper()
	if err := b.PutAndWait(t.Context(), &sample.Scan{At: sample.Never - 1, Raw: []float64{100, 200}, Values: []float64{2, 7}}); err != nil {
		t.Fatal(err)
	}
	err := b.Do(t.Context(), func(*State) {
		for _, line := range slices.Backward(b.d.lines) {
			if _, values, ok := strings.Cut(line, "scan "); ok && strings.HasSuffix(values, " 7]") || strings.HasSuffix(values, " 4]") {
				out = values
				break
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// What channels show at rest is taken off from then on, is kept first, and can be
// taken back; a second zeroing is of what they show without the first.
func TestZeroing(t *testing.T) {
	b := newBench(t, nil, func(i int) (float64, float64) { return 2 + 0.5*float64(i%2), 3 })
	for range 2 {
		z := &record.Zeroing{Bridge: "b", Source: "s", By: "E-01", Channels: []int{1}}
		if err := b.Zero(t.Context(), 0, z); err != nil || z.Shown[0] != 3 || z.At.IsZero() {
			t.Fatalf("%+v, %v", z, err)
		}
		if got := b.values(t); got != "[2 4]" {
			t.Errorf("zeroed by 3: %s", got)
		}
	}
	for _, want := range []string{"[2 4]", "[2 7]", "[2 7]"} {
		if err := b.Zero(t.Context(), 0, &record.Zeroing{Bridge: "b", Source: "s", By: "E-01", Channels: []int{1}, Undo: true}); err != nil {
			t.Fatal(err)
		}
		if got := b.values(t); got != want {
			t.Errorf("taken back: %s, want %s", got, want)
		}
	}
	var kept []string
	if err := b.Do(t.Context(), func(*State) {
		for _, line := range b.d.lines {
			if _, what, ok := strings.Cut(line, " kept "); ok {
				kept = append(kept, what)
			}
		}
	}); err != nil {
		t.Fatal(err)
	}
	zeroed, back := "a zeroing of [3] by E-01", "a zeroing of [] by E-01"
	if want := []string{zeroed, zeroed, back, back, back}; !slices.Equal(kept, want) {
		t.Errorf("kept %q", kept)
	}
}

// Nothing is zeroed that is not at rest, is not heard, or cannot be kept.
func TestWhatIsNotZeroed(t *testing.T) {
	for says, c := range map[string]struct {
		fail  error
		show  func(i int) (float64, float64)
		every bool
	}{
		"channel 1 shows 6.0 mmHg": {show: func(int) (float64, float64) { return 0, 6 }},
		"let it rest":              {show: func(i int) (float64, float64) { return 0, float64(i) / 10 }},
		"channel 1 has no value":   {show: func(i int) (float64, float64) { return 0, sample.Unknown }},
		"disk full":                {fail: errors.New("disk full"), show: func(int) (float64, float64) { return 0, 3 }},
		"there is no such channel": {show: func(int) (float64, float64) { return 0, 3 }, every: true},
	} {
		b := newBench(t, c.fail, c.show)
		z := &record.Zeroing{Bridge: "b", Source: "s", By: "E-01", Channels: []int{1}}
		if c.every {
			z.Channels, z.Undo = []int{2}, true
		}
		if err := b.Zero(t.Context(), 0, z); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("want %q: %v", says, err)
		}
		if off := b.applied.Offset(0, 1); off != 0 {
			t.Errorf("%s: %v mmHg are taken off", says, off)
		}
		if err := b.Do(t.Context(), func(*State) {
			if slices.ContainsFunc(b.d.lines, func(line string) bool { return strings.Contains(line, "kept a zeroing") }) {
				t.Errorf("%s: it was refused, and kept", says)
			}
		}); err != nil {
			t.Fatal(err)
		}
	}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	silent := New(Options{Plan: &rules.Plan{Sources: []rules.Source{{ID: "b/s", Channels: 2}}}, Clock: hostclock.New(1), Views: view.New(new(rules.Plan), nil, time.UTC)})
	go func() { _ = silent.Run(t.Context()) }()
	if err := silent.Zero(ctx, 0, &record.Zeroing{Channels: []int{0}}); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("of a silent source: %v", err)
	}
	if err := silent.Do(t.Context(), func(*State) {
		if len(silent.watches) != 0 {
			t.Error("it is watched for ever")
		}
	}); err != nil {
		t.Error(err)
	}
}
