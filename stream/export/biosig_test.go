package export

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// missing skips a test for want of a program of others, which CI must have.
func missing(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("CI") != "" {
		t.Fatal(what)
	}
	t.Skip(what)
}

// A program that others have written, from Debian's biosig-tools, reads our file
// back: text of each signal, and what it knows of the header and the events.
func TestAnotherProgramReadsEDF(t *testing.T) {
	tool, err := exec.LookPath("save2gdf")
	if err != nil {
		missing(t, "save2gdf not found: it is in Debian's biosig-tools")
	}
	folder := t.TempDir()
	r := bench()
	plain := r.Tracks[0].Rows
	r.Tracks[0].Rows = func(yield func(Row, error) bool) {
		for row, err := range plain {
			row.U, row.Doubts = []float64{1.25, 0.5}, []Doubt{0, 0}
			if row.Values[0] > 38 && row.Values[0] < 39 {
				row.U[0], row.Doubts[0] = 2, Extrapolated
			}
			if !yield(row, err) {
				return
			}
		}
	}
	f, err := EDF(t.Context(), r, folder, "k07", EDFOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(tool, "-f=ASCII", f.Path, filepath.Join(folder, "k07.asc")).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	e := readPlainEDF(t, f.Path)
	for s := range f.Signals {
		b, err := os.ReadFile(filepath.Join(folder, "k07.a0"+strconv.Itoa(s+1)))
		if err != nil {
			t.Fatal(err)
		}
		var got []float64
		for word := range strings.FieldsSeq(string(b)) {
			v, err := strconv.ParseFloat(word, 64)
			if err != nil {
				t.Fatal(err)
			}
			// It does not know what our lowest sample means; it has to be
			// where nobody takes it for a value.
			if v == e.pmin[s] {
				if v > -14 {
					t.Errorf("%s: unknown looks like %v", f.Signals[s].Name, v)
				}
				v = math.NaN()
			}
			got = append(got, v)
		}
		if !near(got, e.physical[s], 0.002) {
			t.Errorf("%s is %v there, %v here", f.Signals[s].Name, got, e.physical[s])
		}
	}
	head, err := os.ReadFile(filepath.Join(folder, "k07.asc"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"= K-07\n", "= s-12\n", "= weald_1.2\n", "Label     \t= ankle.pressure\n", "PhysicalUnits\t= mmHg\n",
		"SamplingRate\t= 2.000000\n", "SamplingRate\t= 10.000000\n", "PhysMax  \t= 50.535\n",
	} {
		if !strings.Contains(string(head), want) {
			t.Errorf("no %q in what it says of the header:\n%s", want, head)
		}
	}
	events, err := exec.Command(tool, "-JSON", f.Path).Output()
	if err != nil {
		t.Fatal(err)
	}
	// Its times are a few microseconds off. The mark of second 7 stands where
	// the sixth record begins.
	for want, second := range map[string]float64{
		"standard uncertainty 1.25 to 2 mmHg@@ankle.pressure":                                   0,
		"standard uncertainty 0.5 mmHg@@calf.pressure":                                          0,
		"outside of the calibrated range@@ankle.pressure":                                       6.5,
		"alert raised (ankle-too-loose, ankle, medium): ankle at 0 mmHg, asked for at least 20": 1.2,
		"mark turned: said \"better\",\nthen slept [N-2]":                                       7,
	} {
		before, _, found := strings.Cut(string(events), `"Description"	: "`+want+`"`)
		_, stamp, _ := strings.Cut(before[strings.LastIndex(before, "{"):], `"TimeStamp"	: "`)
		at, err := time.ParseInLocation("2006-01-02 15:04:05", strings.SplitN(stamp, `"`, 2)[0], east)
		if off := at.Sub(start.Time()).Seconds() - second; !found || err != nil || math.Abs(off) > 1e-3 {
			t.Errorf("%q at %v (off by %v s), %v, found %v", want, at, off, err, found)
		}
	}
}
