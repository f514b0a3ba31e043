package export

import (
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

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

// A range that is given makes the resolution; what is beyond it is counted, and
// is at the end of the range and not unknown.
func TestEDFOfAGivenRange(t *testing.T) {
	r := Recording{
		Header: Header{Start: start, End: after(4 * time.Second)},
		Tracks: []Track{{
			Signals: []Signal{{Name: "ankle.pressure", Unit: "mmHg", Low: 0, High: 300}, {Name: "skin", Unit: "°C"}}, Rate: 1,
			Rows: rowsOf(time.Second, []float64{120, 31}, []float64{1e5, 31}, []float64{-1e5, 31}, []float64{math.Inf(1), 31}),
		}},
	}
	f, e := writeEDF(t, r, EDFOptions{})
	ankle := f.Signals[0]
	if ankle.Clipped != 2 || f.Signals[1].Clipped != 0 || math.Abs(ankle.Resolution-0.01) > 1e-9 ||
		e.pmin[0] != -150 || e.pmax[0] != 505.35 || e.dimension[1] != "degC" {
		t.Errorf("%+v, from %v to %v, %q", ankle, e.pmin[0], e.pmax[0], e.dimension)
	}
	if !near(e.physical[0], []float64{120, 505.34, -149.99, math.NaN()}, 0.01) || e.digital[0][3] != -32768 {
		t.Errorf("%v", e.physical[0])
	}
	r.Tracks[0].Signals[1].Unit = "furlongs a fortnight"
	if _, err := EDF(t.Context(), r, t.TempDir(), "x", EDFOptions{}); !errors.Is(err, ErrRecording) {
		t.Errorf("long unit: %v", err)
	}
	r.Tracks[0].Signals[1] = Signal{Name: "huge", High: 1e12}
	if _, err := EDF(t.Context(), r, t.TempDir(), "x", EDFOptions{}); !errors.Is(err, edf.ErrRange) {
		t.Errorf("long range: %v", err)
	}
}

// A recording that is not the same the second time is not exported.
func TestEDFOfARecordingThatChanges(t *testing.T) {
	for name, second := range map[string][][]float64{
		"more": {{1}, {2}, {3}, {4}}, "fewer": {{1}}, "others": {{1}, nil, {2}},
	} {
		times := 0
		r := Recording{
			Header: Header{Start: start, End: after(time.Minute)},
			Tracks: []Track{{
				Signals: []Signal{{Name: "a"}}, Rate: 1, StaleAfter: time.Second,
				Rows: func(yield func(Row, error) bool) {
					values := [][]float64{{1}, {2}}
					if times++; times > 1 {
						values = second
					}
					rowsOf(time.Second, values...)(yield)
				},
			}},
		}
		folder := t.TempDir()
		if _, err := EDF(t.Context(), r, folder, "x", EDFOptions{}); err == nil || len(left(t, folder)) > 0 {
			t.Errorf("%s: %v, left %q", name, err, left(t, folder))
		}
	}
}

func TestEDFGolden(t *testing.T) {
	f, err := EDF(t.Context(), bench(), t.TempDir(), "k07", EDFOptions{})
	if err != nil {
		t.Fatal(err)
	}
	golden(t, f.Path)
}
