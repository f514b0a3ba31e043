package export

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
	"weald/stream/export/edf"
)

func writeEDF(t *testing.T, r Recording, o EDFOptions) (EDFFile, *plainEDF) {
	t.Helper()
	f, err := EDF(t.Context(), r, t.TempDir(), "k07", o)
	if err != nil {
		t.Fatal(err)
	}
	return f, readPlainEDF(t, f.Path)
}

// near reports whether got are want, NaN for NaN, within half a step.
func near(got, want []float64, step float64) bool {
	if len(got) != len(want) {
		return false
	}
	for i := range got {
		if (got[i] != got[i]) != (want[i] != want[i]) || math.Abs(got[i]-want[i]) > step/2*(1+1e-9) {
			return false
		}
	}
	return true
}

func TestEDFOfABench(t *testing.T) {
	f, e := writeEDF(t, bench(), EDFOptions{})
	if e.patient != "K-07 X X X" || e.date != "02.03.31" || e.time != "08.05.09" ||
		e.recording != "Startdate 02-MAR-2031 s-12 X weald_1.2 zone=+02:00 place=bench-1" {
		t.Errorf("patient %q, recording %q, from %q %q", e.patient, e.recording, e.date, e.time)
	}
	// Nothing is known from second 4 to 6: temperature lasts longest, 3 s.
	if e.kind != "EDF+D" || e.duration != 1 || fmt.Sprint(e.onset) != "[0 1 2 3 6 7]" {
		t.Errorf("%s with records of %v s at %v", e.kind, e.duration, e.onset)
	}
	x := math.NaN()
	eighty := []float64{x, x, x, x, x, x, x, 80, 80, 80, 80, 80, 80, 80, 80, 80, 80}
	for len(eighty) < 60 {
		eighty = append(eighty, x)
	}
	for s, want := range [][]float64{
		{40, 41.25, 0, 0, x, x, x, x, 38, 38.5, 38.5, x},
		{25.5, x, -0.5, -0.5, x, x, x, x, 24, 24.125, 24.125, x},
		{31.5, 31.75, 31.75, 31.75, x, x},
		eighty,
	} {
		if !near(e.physical[s], want, f.Signals[s].Resolution) {
			t.Errorf("%s is %v, want %v", e.label[s], e.physical[s], want)
		}
	}
	for s, want := range [][3]string{
		{"ankle.pressure", "mmHg", "nearest sample of 2/s, held <=1s; step 0.001; -32768=unknown"},
		{"calf.pressure", "mmHg", "nearest sample of 2/s, held <=1s; step 0.001; -32768=unknown"},
		{"skin.temperature", "degC", "nearest sample of 1/s, held <=3s; step 0.001; -32768=unknown"},
		{"battery.charge", "%", "zero-order hold at 10/s, held <=1s; step 0.002; -32768=unknown"},
	} {
		if got := [3]string{e.transducer[s], e.dimension[s], e.filter[s]}; got != want || e.label[s] != want[0] {
			t.Errorf("signal %d is %q %q, want %q", s, e.label[s], got, want)
		}
	}
	want := []plainTAL{
		{1.2, 2.5, "alert raised (ankle-too-loose, ankle, medium): ankle at 0 mmHg, asked for at least 20"},
		{7, 0, "mark turned: said \"better\",\nthen slept [N-2]"},
	}
	if fmt.Sprint(e.tal) != fmt.Sprint(want) {
		t.Errorf("annotations %v, want %v", e.tal, want)
	}
	ankle := f.Signals[0]
	if ankle.Low != 0 || ankle.High != 41.25 || ankle.Repeated != 2 || ankle.Skipped != 0 || ankle.Clipped != 0 ||
		f.Records != 6 || f.Rows != 6*(2+2+1+10) || f.Kind != edf.Discontinuous || f.Annotations != 2 {
		t.Errorf("account %+v", f)
	}
}

func TestEDFGolden(t *testing.T) {
	f, err := EDF(t.Context(), bench(), t.TempDir(), "k07", EDFOptions{})
	if err != nil {
		t.Fatal(err)
	}
	golden(t, f.Path)
}

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
	root := os.Getenv("WEALD_DATA")
	if root == "" {
		root = "../../../shared/data"
	}
	files, err := filepath.Glob(filepath.Join(root, "edf", "*.?df"))
	if err != nil {
		t.Fatal(err)
	}
	if len(files) == 0 {
		t.Skipf("recordings not found: %s has no EDF file", root)
	}
	for _, path := range files {
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
