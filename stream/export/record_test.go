package export

import (
	"iter"
	"math"
	"testing"
	"time"

	"weald/ingest/sample"
)

// start is 08:05:09 in a zone two hours east.
var (
	east  = time.FixedZone("", 7200)
	start = sample.At(time.Date(2031, 3, 2, 8, 5, 9, 0, east))
)

func after(d time.Duration) sample.Instant { return start.Add(d) }

// rowsOf yields rows given as values, the first at the start and the others a
// period apart; nil leaves one out.
func rowsOf(period time.Duration, values ...[]float64) iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		for i, v := range values {
			if v != nil && !yield(Row{At: start.Add(time.Duration(i) * period), Values: v}, nil) {
				return
			}
		}
	}
}

// single is a track of one signal, of rows that have one value each.
func single(name, unit string, rate float64, rows ...Row) Track {
	return Track{Signals: []Signal{{Name: name, Unit: unit}}, Rate: rate, Rows: func(yield func(Row, error) bool) {
		for _, r := range rows {
			if !yield(r, nil) {
				return
			}
		}
	}}
}

// notes yields annotations.
func notes(a ...Annotation) iter.Seq2[Annotation, error] {
	return func(yield func(Annotation, error) bool) {
		for _, a := range a {
			if !yield(a, nil) {
				return
			}
		}
	}
}

var unknown = math.NaN()

// bench is a small recording with all that makes trouble: two rates and an
// irregular track, a gap, an unknown, text that needs quotes.
func bench() Recording {
	return Recording{
		Header: Header{
			Place: "bench-1", Person: "K-07", Session: "s-12", Program: "weald 1.2",
			Start: start, End: after(10 * time.Second), Zone: east,
		},
		Tracks: []Track{
			{
				Signals: []Signal{{Name: "ankle.pressure", Unit: "mmHg"}, {Name: "calf.pressure", Unit: "mmHg"}},
				Rate:    2, StaleAfter: time.Second,
				Rows: rowsOf(500*time.Millisecond, []float64{40, 25.5}, []float64{41.25, unknown}, []float64{0, -0.5},
					nil, nil, nil, nil, nil, nil, nil, nil, nil, []float64{38, 24}, []float64{38.5, 24.125}),
			},
			{
				Signals: []Signal{{Name: "skin.temperature", Unit: "degC"}}, Rate: 1,
				Rows: rowsOf(time.Second, []float64{31.5}, []float64{31.75}),
			},
			single("battery.charge", "%", 0, Row{At: after(700 * time.Millisecond), Values: []float64{80}}),
		},
		Annotations: notes(
			Annotation{
				At: after(1200 * time.Millisecond), Duration: 2500 * time.Millisecond, Kind: Alert, What: "raised",
				Rule: "ankle-too-loose", Subject: "ankle", Priority: "medium", Text: "ankle at 0 mmHg, asked for at least 20",
			},
			Annotation{At: after(7 * time.Second), Kind: Mark, What: "turned", Author: "N-2", Text: "said \"better\",\nthen slept"},
		),
	}
}

// failing returns a recording whose first track fails after some rows.
func failing(err error) Recording {
	r := bench()
	rows := r.Tracks[0].Rows
	r.Tracks[0].Rows = func(yield func(Row, error) bool) {
		for row := range rows {
			if !yield(row, nil) {
				return
			}
		}
		yield(Row{}, err)
	}
	return r
}

// longRecording is hours of channels at rate rows a second from a cheap, noisy
// curve.
func longRecording(tb testing.TB, hours float64, channels int, rate float64) Recording {
	tb.Helper()
	n := int(hours * 3600 * rate)
	period := float64(time.Second) / rate
	t := Track{Rate: rate, Rows: func(yield func(Row, error) bool) {
		v := make([]float64, channels)
		x := uint32(1)
		for i := range n {
			for c := range v {
				x = x*1664525 + 1013904223
				v[c] = 30 + float64(c) + 8*float64(i%4096)/4096 + float64(x>>24)/256
			}
			if !yield(Row{At: start.Add(time.Duration(float64(i) * period)), Values: v}, nil) {
				return
			}
		}
	}}
	for c := range channels {
		t.Signals = append(t.Signals, Signal{Name: "site" + string(rune('a'+c)) + ".pressure", Unit: "mmHg"})
	}
	return Recording{
		Header: Header{Place: "bench-1", Person: "K-07", Start: start, End: start.Add(time.Duration(hours * float64(time.Hour)))},
		Tracks: []Track{t},
	}
}
