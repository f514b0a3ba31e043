package export

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
	"weald/ingest/recorded"
	"weald/stream/export/edf"
)

// What goes into a regular grid comes out of the file within half a step, and an
// unknown comes out as one.
func TestEDFRoundTrip(t *testing.T) {
	folder := t.TempDir()
	n := 0
	rapid.Check(t, func(t *rapid.T) {
		rate := rapid.SampledFrom([]float64{1, 2, 12.5, 30, 50, 0.1}).Draw(t, "rate")
		scale := rapid.SampledFrom([]float64{1e-3, 1, 300, 1e6}).Draw(t, "scale")
		period := time.Duration(math.Round(1e9 / rate))
		count := rapid.IntRange(1, 200).Draw(t, "count")
		values := make([][]float64, count)
		some := false
		for i := range values {
			if rapid.IntRange(0, 9).Draw(t, "missing") == 0 {
				continue
			}
			for range 2 {
				v := rapid.Float64Range(-scale, scale).Draw(t, "v")
				if rapid.IntRange(0, 9).Draw(t, "unknown") == 0 {
					v = math.NaN()
				}
				some = some || v == v
				values[i] = append(values[i], v)
			}
		}
		r := Recording{
			Header: Header{Start: start, End: start.Add(time.Duration(count) * period)},
			Tracks: []Track{{
				Signals: []Signal{{Name: "a"}, {Name: "b"}}, Rate: rate, StaleAfter: period / 2, Rows: rowsOf(period, values...),
			}},
		}
		n++
		f, err := EDF(context.Background(), r, folder, fmt.Sprint(n), EDFOptions{})
		if !some {
			if !errors.Is(err, ErrEmpty) {
				t.Fatalf("nothing known: %v", err)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		back, problems, err := ReadEDF(f.Path, edf.Strict, nil)
		if err != nil || len(problems) > 0 {
			t.Fatal(err, problems)
		}
		got := map[int][]float64{}
		for row, err := range back.Tracks[0].Rows {
			if err != nil {
				t.Fatal(err)
			}
			got[int(math.Round(row.At.Sub(start).Seconds()*rate))] = []float64{row.Values[0], row.Values[1]}
		}
		for i, want := range values {
			if want == nil {
				want = []float64{math.NaN(), math.NaN()}
			}
			if got[i] == nil {
				got[i] = []float64{math.NaN(), math.NaN()}
			}
			for s := range want {
				if !near(got[i][s:s+1], want[s:s+1], f.Signals[s].Resolution) {
					t.Fatalf("sample %d of %d is %v, want %v within half of %v", i, s, got[i][s], want[s], f.Signals[s].Resolution)
				}
			}
		}
		if err := os.Remove(f.Path); err != nil {
			t.Fatal(err)
		}
	})
}

// The recording that is read back says the same as the one that was written.
func TestReadEDF(t *testing.T) {
	f, _ := writeEDF(t, bench(), EDFOptions{})
	r, problems, err := ReadEDF(f.Path, edf.Strict, nil)
	if err != nil || len(problems) > 0 {
		t.Fatal(err, problems)
	}
	h := r.Header
	if h.Place != "bench-1" || h.Person != "K-07" || h.Session != "s-12" || h.Program != "weald_1.2" ||
		h.Start != start || h.End != after(8*time.Second) {
		t.Errorf("header %+v", h)
	}
	if _, offset := h.Start.Time().In(h.Zone).Zone(); offset != 7200 {
		t.Errorf("zone is %v", h.Zone)
	}
	var all []Annotation
	for a, err := range r.Annotations {
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, a)
	}
	want := []Annotation{
		{
			At: after(1200 * time.Millisecond), Duration: 2500 * time.Millisecond, Kind: Alert, What: "raised",
			Rule: "ankle-too-loose", Subject: "ankle", Priority: "medium", Text: "ankle at 0 mmHg, asked for at least 20",
		},
		{At: after(7 * time.Second), Kind: Mark, What: "turned", Text: "said \"better\",\nthen slept [N-2]"},
	}
	if fmt.Sprint(all) != fmt.Sprint(want) {
		t.Errorf("annotations\n%+v, want\n%+v", all, want)
	}
	// Written again, it is the same file but for how samples came to be.
	again, err := EDF(t.Context(), r, t.TempDir(), "again", EDFOptions{})
	if err != nil {
		t.Fatal(err)
	}
	one, two := readPlainEDF(t, f.Path), readPlainEDF(t, again.Path)
	for s := range one.physical {
		if len(one.label) != len(two.label) || !near(one.physical[s], two.physical[s], 1e-9) {
			t.Errorf("%s: %v, then %v", one.label[s], one.physical[s], two.physical[s])
		}
	}
	if fmt.Sprint(one.tal) != fmt.Sprint(two.tal) || one.recording != two.recording {
		t.Errorf("%q %v, then %q %v", one.recording, one.tal, two.recording, two.tal)
	}
}

func TestForeignFilesAsRecordings(t *testing.T) {
	for _, path := range recorded.Files(t, "edf", "*.?df") {
		r, _, err := ReadEDF(path, edf.Lenient, east)
		if err != nil {
			t.Error(err)
			continue
		}
		rows, known := 0, 0
		for i := range r.Tracks {
			for row, err := range r.Tracks[i].Rows {
				if err != nil {
					t.Fatal(err)
				}
				rows++
				for _, v := range row.Values {
					if v == v {
						known++
					}
				}
			}
		}
		if only := strings.Contains(path, "Hypnogram"); only != (rows == 0) || only != (known == 0) {
			t.Errorf("%s: %d rows, %d known values", path, rows, known)
		}
	}
}
