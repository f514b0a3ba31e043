package export

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"math"
	"os"
	"strings"
	"testing"
	"time"
)

// seconds yields rows a second apart with their uncertainties and doubts.
func seconds(rows ...Row) iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		for i, r := range rows {
			if r.At = after(time.Duration(i) * time.Second); r.Values != nil && !yield(r, nil) {
				return
			}
		}
	}
}

// one is a recording of one signal, a row a second.
func one(s Signal, lasting time.Duration, rows iter.Seq2[Row, error]) Recording {
	return Recording{
		Header: Header{Place: "bench-1", Start: start, End: after(lasting), Zone: east},
		Tracks: []Track{{Signals: []Signal{s}, Rate: 1, StaleAfter: time.Second, Rows: rows}},
	}
}

// The bytes of a small recording, for whom they are passed on to. cmd/weald has the
// published schema validate the same file.
func TestFHIRGolden(t *testing.T) {
	r := bench()
	r.Header.Caution = "Not a medical device."
	files, err := FHIR(t.Context(), r, t.TempDir(), "k07", Options{})
	if err != nil {
		t.Fatal(err)
	}
	golden(t, files[0].Path)
	if f := files[0]; f.Rows != 7+6+4+10 {
		t.Errorf("%+v", f)
	}
}

// The same readings as in the other formats: what is known stands at its instant, and
// unknown stays unknown.
func TestFHIRHasTheReadings(t *testing.T) {
	e := unknown
	want := map[string]struct {
		code   string
		period float64
		begins time.Duration
		values []float64
	}{
		// A reading is held for a second: two samples.
		"ankle.pressure":   {"mm[Hg]", 500, 0, []float64{40, 41.25, 0, 0, e, e, e, e, e, e, e, e, 38, 38.5, 38.5}},
		"calf.pressure":    {"mm[Hg]", 500, 0, []float64{25.5, e, -0.5, -0.5, e, e, e, e, e, e, e, e, 24, 24.125, 24.125}},
		"skin.temperature": {"Cel", 1000, 0, []float64{31.5, 31.75, 31.75, 31.75}},
		"battery.charge":   {"%", 100, 700 * time.Millisecond, []float64{80, 80, 80, 80, 80, 80, 80, 80, 80, 80}},
	}
	all, text := observations(t, bench())
	if len(all) != len(want) {
		t.Fatalf("%d Observations, want %d: %s", len(all), len(want), text)
	}
	for _, o := range all {
		name := strings.Split(o.Identifier[0].Value, "/")[1]
		w, v := want[name], o.Value
		if got := v.samples(t); !near(got, w.values, 1e-9) || v.Origin.Code != w.code || v.Period != w.period || v.Origin.Value != 0 {
			t.Errorf("%s is %+v: %v, want %v", name, v, got, w.values)
		}
		end := w.begins + time.Duration(len(w.values)-1)*time.Duration(w.period*1e6)
		if f := o.Effective; !f.Start.Equal(start.Time().Add(w.begins)) || !f.End.Equal(start.Time().Add(end)) {
			t.Errorf("%s is from %v to %v", name, f.Start, f.End)
		}
		if o.Subject.Identifier.Value != "K-07" || o.Encounter.Identifier.Value != "s-12" || o.Status != "preliminary" || o.Absent != nil ||
			o.BodySite.Text != map[string]string{"ankle.pressure": "ankle", "calf.pressure": "calf"}[name] || !strings.Contains(o.Code.Text, name) || len(o.Component) != 0 {
			t.Errorf("%+v", o)
		}
		if notes := fmt.Sprint(o.Note); !strings.Contains(notes, "uncertainty of these values is not known") || !strings.Contains(notes, "Whether the calibrations held is not known") {
			t.Errorf("of uncertainty and calibration it says %s", notes)
		}
	}
	for _, never := range []string{"N-2", "slept", "coding"} {
		if strings.Contains(text, never) {
			t.Errorf("it says %q", never)
		}
	}
}

// How uncertain a value is, and what it is in doubt for, comes along sample by sample, or
// not at all where the rows do not tell it.
func TestFHIRTellsUncertaintyAndDoubt(t *testing.T) {
	v := func(v, u float64, d Doubt) Row { return Row{Values: []float64{v}, U: []float64{u}, Doubts: []Doubt{d}} }
	all, text := observations(t, one(Signal{Name: "ankle.pressure", Unit: "mmHg"}, 8*time.Second, seconds(
		Row{Values: []float64{30}}, v(40, 1.25, 0), v(50, unknown, Extrapolated), v(unknown, unknown, 0), Row{}, v(60, 2.5, Expired), v(61, 2.5, Expired|Extrapolated))))
	if len(all) != 1 || len(all[0].Component) != 2 {
		t.Fatal(text)
	}
	u, doubts := &all[0].Component[0], &all[0].Component[1]
	e := unknown
	if got := u.Value.samples(t); !near(got, []float64{e, 1.25, e, e, e, 2.5, 2.5}, 1e-9) || u.Value.Origin.Code != "mm[Hg]" || !strings.HasPrefix(u.Code.Text, "standard uncertainty") {
		t.Errorf("%+v: %v", u, got)
	}
	if got := doubts.Value.samples(t); !near(got, []float64{e, 0, 1, e, e, 2, 3}, 0) || doubts.Value.Origin.Code != "1" || !strings.HasPrefix(doubts.Code.Text, "doubt") {
		t.Errorf("%+v: %v", doubts, got)
	}
	for _, want := range []string{
		"2 of 7 samples are unknown (E)",
		"The standard uncertainty of 3 of 5 values is known, 2.50 mmHg at most",
		"Of 5 values, 2 lie outside of what their sensors were calibrated for, and 2 were made by a calibration that was past its date; of 1 it is not known",
	} {
		if !strings.Contains(fmt.Sprint(all[0].Note), want) {
			t.Errorf("no %q in %v", want, all[0].Note)
		}
	}
}

// What is beyond a range that is given is neither a number nor unknown.
func TestFHIRBeyondTheRange(t *testing.T) {
	all, _ := observations(t, one(Signal{Name: "ankle.pressure", Unit: "mmHg", Low: -5, High: 200}, 5*time.Second,
		seconds(Row{Values: []float64{-5.1}}, Row{Values: []float64{-5}}, Row{Values: []float64{200}}, Row{Values: []float64{1e6}}, Row{Values: []float64{math.Inf(1)}})))
	v := all[0].Value
	if got := v.samples(t); fmt.Sprint(got) != "[-Inf -5 200 +Inf]" || *v.LowerLimit != -5 || *v.UpperLimit != 200 {
		t.Errorf("%v of %+v", got, v)
	}
}

// A short silence is within an Observation, a long one between two, and a signal that was
// never known has one that says so.
func TestFHIRSilence(t *testing.T) {
	for gap, want := range map[int]int{1: 1, 60: 1, 61: 2, 4000: 2} {
		rows := []Row{{Values: []float64{30}}}
		rows = append(rows, make([]Row, gap-1)...)
		rows = append(rows, Row{Values: []float64{31}})
		r := one(Signal{Name: "ankle.pressure", Unit: "mmHg"}, time.Duration(gap+1)*time.Second, seconds(rows...))
		r.Tracks = append(r.Tracks, single("calf.pressure", "mmHg", 1, Row{At: start, Values: []float64{unknown}}))
		all, text := observations(t, r)
		if len(all) != want+1 {
			t.Fatalf("after %d s there are %d Observations: %.2000s", gap, len(all), text)
		}
		if a := all[0]; a.Value != nil || a.Absent.Coding[0].Code != "unknown" || !strings.Contains(a.Code.Text, "calf") || !a.Effective.End.Equal(r.Header.End.Time()) {
			t.Errorf("%+v", a)
		}
		samples := all[len(all)-1].Value.samples(t)
		if last := len(samples) - 1; want == 1 && (last != gap || samples[0] != 30) || samples[last] != 31 {
			t.Errorf("after %d s: %v", gap, samples)
		}
		if end := all[len(all)-1].Effective.End; !end.Equal(start.Time().Add(time.Duration(gap) * time.Second)) {
			t.Errorf("after %d s the last sample is at %v", gap, end)
		}
	}
}

// Long recordings come in parts, none of which is too large for a string of FHIR, and
// nothing is lost or doubled between them.
func TestFHIROfManyReadings(t *testing.T) {
	r := longRecording(t, 1, 2, 50)
	all, _ := observations(t, r)
	if len(all) != 2*5 {
		t.Fatalf("%d Observations", len(all))
	}
	got := map[string][]float64{}
	for _, o := range all {
		if len(o.Value.Data) > 1<<20 {
			t.Errorf("%d bytes of data", len(o.Value.Data))
		}
		if begins := start.Time().Add(time.Duration(len(got[o.Code.Text])) * 20 * time.Millisecond); !o.Effective.Start.Equal(begins) {
			t.Errorf("%s begins at %v, want %v", o.Code.Text, o.Effective.Start, begins)
		}
		got[o.Code.Text] = append(got[o.Code.Text], o.Value.samples(t)...)
	}
	i := 0
	for row := range r.Tracks[0].Rows {
		for c, site := range []string{"sitea", "siteb"} {
			samples := got["pressure between the body and what presses on it ("+site+".pressure)"]
			if i >= len(samples) || math.Abs(samples[i]-row.Values[c]) > 0.0005+1e-9 {
				t.Fatalf("%s at %d is not %v", site, i, row.Values[c])
			}
		}
		i++
	}
	if i != 180000 || len(got) != 2 {
		t.Errorf("%d rows, %d signals", i, len(got))
	}
}

// Five digits of the largest value, whatever its size.
func TestFactors(t *testing.T) {
	for most, want := range map[float64]string{180: "0.01", 99.9: "0.001", 1: "0.0001", 0: "0.0001", 0.05: "0.000001", 123456: "10", 1e-30: "0.000000000001"} {
		if got := number(math.Pow10(-decimals(most, 5))); got.String() != want {
			t.Errorf("for %v the factor is %s, want %s", most, got, want)
		}
	}
}

// Equal readings make equal bytes, and others another name.
func TestFHIRIsTheSameEachTime(t *testing.T) {
	_, first := observations(t, bench())
	_, second := observations(t, bench())
	other := bench()
	other.Header.Person = "K-08"
	_, third := observations(t, other)
	name := func(text string) string { return strings.SplitN(text, `"`, 16)[13] }
	if first != second || name(first) == name(third) || !strings.HasPrefix(name(first), "urn:uuid:") {
		t.Errorf("%q, %q", name(first), name(third))
	}
}

// Rows that contradict their track are refused.
func TestFHIRRefusesCrookedRows(t *testing.T) {
	for _, r := range []Row{{Values: []float64{1, 2}}, {Values: []float64{1}, U: []float64{1, 2}}, {Values: []float64{1}, Doubts: make([]Doubt, 3)}} {
		if _, err := FHIR(t.Context(), one(Signal{Name: "a"}, time.Second, seconds(r)), t.TempDir(), "k07", Options{}); !errors.Is(err, ErrRecording) {
			t.Errorf("%+v: %v", r, err)
		}
	}
}

// observations exports r, and reads what comes of it.
func observations(t *testing.T, r Recording) (all []readObservation, text string) {
	t.Helper()
	files, err := FHIR(t.Context(), r, t.TempDir(), "k07", Options{})
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(files[0].Path)
	if err != nil {
		t.Fatal(err)
	}
	var bundle readBundle
	if err := json.NewDecoder(bytes.NewReader(b)).Decode(&bundle); err != nil {
		t.Fatalf("%v: %s", err, b)
	}
	names := map[string]bool{}
	for _, e := range bundle.Entry {
		if names[e.FullURL] || !strings.HasPrefix(e.FullURL, "urn:uuid:") {
			t.Errorf("an entry is called %q", e.FullURL)
		}
		names[e.FullURL] = true
		all = append(all, e.Resource)
	}
	if bundle.ResourceType != "Bundle" || bundle.Type != "collection" {
		t.Errorf("%+v", bundle)
	}
	return all, string(b)
}
