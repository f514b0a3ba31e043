package applied_test

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/calib"
	"weald/ingest/calib/applied"
	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
	"weald/ingest/calib/record"
	"weald/ingest/sample"
)

var made = time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// monotone is a curve that bends, as thin force sensors do.
func monotone(shift float64) curve.Curve {
	return must(curve.Through([]curve.Knot{
		{Raw: 100, MMHg: 0}, {Raw: 400 + shift, MMHg: 10}, {Raw: 900 + shift, MMHg: 25}, {Raw: 1600 + shift, MMHg: 50}, {Raw: 2600, MMHg: 100},
	}))
}

func calibration(up curve.Curve) curve.Calibration {
	return curve.Calibration{
		Version: curve.Version, Loading: up, Width: 1.5,
		Raw: curve.Range{Low: 100, High: 2600}, MMHg: curve.Range{Low: 0, High: 100},
		U: curve.Uncertainty{
			At: []float64{0, 50, 100}, Fit: []float64{0.4, 0.6, 1.2}, Hysteresis: []float64{0.5, 1, 0.5},
			Repeatability: []float64{0.3, 0.5, 0.8}, DriftPerDay: 0.02, Reference: 0.5,
		},
	}
}

func recordOf(channel int, c curve.Calibration) *record.Record {
	return &record.Record{
		Version: record.Version, Bridge: "trolley", Source: "leg", Channel: channel, At: made, By: "K-07",
		Rows: []figures.Row{{}}, Calibration: c, Verdict: record.Accepted, ValidUntil: made.AddDate(1, 0, 0),
	}
}

// kinds are calibrations of every form.
func kinds() map[string]curve.Calibration {
	branches := calibration(monotone(0))
	down := monotone(60)
	branches.Unloading = &down
	creeping := branches
	creeping.Creep = &curve.Creep{PerDecade: 0.03, Dwell: 30, U: 0.005}
	return map[string]curve.Calibration{
		"line":      calibration(must(curve.New(curve.Line, -4, 0.04))),
		"quadratic": calibration(must(curve.New(curve.Quadratic, -2, 0.02, 5e-6))),
		"power":     calibration(must(curve.New(curve.Power, 100, 0.003, 1.3, 1))),
		"sharp":     calibration(must(curve.New(curve.Power, 300, 2.1, 0.5, 1))),
		"monotone":  calibration(monotone(0)),
		"branches":  branches,
		"creeping":  creeping,
	}
}

func set(records ...*record.Record) *applied.Set {
	s := applied.NewSet([]applied.Source{{ID: "trolley/leg", Channels: 2, U: []float64{math.NaN(), 2}}})
	for _, r := range records {
		if err := s.Apply(r); err != nil {
			panic(err)
		}
	}
	return s
}

func scan(at time.Duration, raw ...float64) *sample.Scan {
	values := make([]float64, len(raw))
	for i := range values {
		values[i] = 77 // what the configuration's line made of it
	}
	return &sample.Scan{At: sample.At(made.Add(at)), Raw: raw, Values: values, Rail: 4095}
}

// close reports whether the first channel has a value, within what a table may be
// off by.
func close(x *sample.Scan, want curve.Value) bool {
	return math.Abs(x.Values[0]-float64(want.MMHg)) <= 0.02+0.06*want.Independent &&
		math.Abs(x.U[0]-want.Independent) <= 0.03*want.Independent &&
		x.Shared[0] == want.Shared && x.Extrapolated[0] == want.Extrapolated
}

// What comes out is the record's own formula, computed each time from the whole
// history in the slow way.
func TestConvertIsTheRecord(t *testing.T) {
	for name, c := range kinds() {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				s := set(recordOf(0, c))
				// A table may turn where the formula just does not: the width is
				// tried a little smaller and larger too, and any of the three is right.
				var motions [3]curve.Motion
				last := sample.Past
				at, days := time.Duration(0), 0
				for range rapid.IntRange(1, 60).Draw(t, "scans") {
					at += time.Duration(rapid.SampledFrom([]int{1, 1, 1, 60, 4000, 200000, -50}).Draw(t, "seconds")) * time.Second
					raw := rapid.OneOf(rapid.Float64Range(0, 4200), rapid.Float64Range(100, 2600), rapid.Just(math.NaN())).Draw(t, "raw")
					x := scan(at, raw, 5)
					s.Convert(x)
					if x.Values[1] != 77 || x.U[1] != 2 || x.Shared[1] != 0 || x.Extrapolated[1] {
						t.Fatalf("the channel without a record has %v ± %v", x.Values[1], x.U[1])
					}
					inOrder := x.At >= last
					last = max(last, x.At)
					days = max(days, int(at/(24*time.Hour)))
					if raw != raw || raw >= x.Rail {
						if x.Values[0] == x.Values[0] || x.Extrapolated[0] {
							t.Fatalf("%v has the value %v", raw, x.Values[0])
						}
						continue
					}
					fits := false
					var wants []curve.Value
					for k := range motions {
						d, load := curve.Still, time.Duration(0)
						if inOrder {
							up := c.Value(raw, curve.Loading, 0)
							d, load = motions[k].Step(x.At, float64(up.MMHg), c.Width*(1+0.07*float64(k-1)))
						}
						want := c.Value(raw, d, time.Duration(days)*24*time.Hour)
						if c.Creep != nil && inOrder {
							want = c.Creep.Correct(want, load)
						}
						fits = fits || close(x, want)
						wants = append(wants, want)
					}
					if !fits {
						t.Fatalf("%v gave %v ± %v, %v, %v; want one of %+v", raw, x.Values[0], x.U[0], x.Shared[0], x.Extrapolated[0], wants)
					}
				}
			})
		})
	}
}

// What is kept of a Set at any scan goes on to the bit.
func TestStateGoesOn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := kinds()
		records := []*record.Record{recordOf(0, k["creeping"]), recordOf(1, k["branches"])}
		a, b := set(records...), set(records...)
		at := time.Duration(0)
		for range rapid.IntRange(1, 60).Draw(t, "scans") {
			at += time.Duration(rapid.IntRange(-100, 40000).Draw(t, "seconds")) * time.Second
			raws := rapid.SliceOfN(rapid.Float64Range(0, 3000), 2, 2).Draw(t, "raw")
			x, y := scan(at, raws...), scan(at, raws...)
			a.Convert(x)
			b.Convert(y)
			for i := range raws {
				if x.Values[i] != y.Values[i] || x.U[i] != y.U[i] {
					t.Fatalf("%v ± %v, taken up again %v ± %v", x.Values[i], x.U[i], y.Values[i], y.U[i])
				}
			}
			if rapid.Bool().Draw(t, "restart") {
				kept := b.Append(0, nil)
				b = set(records...)
				if err := b.Read(0, kept); err != nil {
					t.Fatal(err)
				}
			}
		}
		kept := a.Append(0, nil)
		if err := set(records...).Read(0, kept[:rapid.IntRange(0, 7).Draw(t, "cut")]); err == nil {
			t.Error("a piece of a state was taken")
		}
	})
}

// Hysteresis: with branches the same counts are less while unloading, and the
// uncertainty is smaller once the direction is known.
func TestBranchesFollowTheMotion(t *testing.T) {
	c := kinds()["branches"]
	s := set(recordOf(0, c))
	value := func(at time.Duration, raw float64) (float64, float64) {
		x := scan(at, raw, 0)
		s.Convert(x)
		return x.Values[0], x.U[0]
	}
	unknown, uUnknown := value(0, 900)
	value(time.Second, 700)
	up, uUp := value(2*time.Second, 900)
	value(3*time.Second, 1500)
	down, _ := value(4*time.Second, 900)
	if !(down < unknown && unknown < up) || !(uUp < uUnknown) {
		t.Errorf("loading %v ± %v, unloading %v, not known %v ± %v", up, uUp, down, unknown, uUnknown)
	}
}

func TestAWithheldReadingHasNoValue(t *testing.T) {
	s := set(recordOf(0, kinds()["line"]))
	x := scan(0, 900, 900)
	x.Withheld = []int{0}
	if s.Convert(x); x.Values[0] == x.Values[0] || x.Raw[0] != 900 || x.Values[1] != 77 {
		t.Errorf("withheld: %v of %v", x.Values, x.Raw)
	}
}

func TestRefusedRecordsLeaveTheFormerInForce(t *testing.T) {
	good := recordOf(0, kinds()["line"])
	s := set(good)
	for name, spoil := range map[string]func(*record.Record){
		"rejected":   func(r *record.Record) { r.Verdict = record.Rejected },
		"foreign":    func(r *record.Record) { r.Source = "arm" },
		"no channel": func(r *record.Record) { r.Channel = 2 },
		"unreadable": func(r *record.Record) { r.Calibration.Version = 9 },
	} {
		r := *recordOf(0, kinds()["quadratic"])
		spoil(&r)
		if err := s.Apply(&r); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	if s.Record(0, 0) != good {
		t.Error("the former record is no longer in force")
	}
	if past := s.Past(0, sample.At(made.AddDate(1, 0, 1))); len(past) != 1 || past[0] != 0 {
		t.Errorf("past their date: %v", past)
	}
	if past := s.Past(0, sample.At(made.AddDate(0, 11, 0))); len(past) != 0 {
		t.Errorf("past their date too early: %v", past)
	}
}

const cells = 2048

func mat(c curve.Calibration) (*applied.Set, *sample.Scan) {
	s := applied.NewSet([]applied.Source{{ID: "trolley/leg", Channels: cells}})
	raw := make([]float64, cells)
	for i := range raw {
		r := recordOf(i, c)
		r.Bridge = "trolley"
		if err := s.Apply(r); err != nil {
			panic(err)
		}
		raw[i] = 100 + float64(i*7919%2500)
	}
	return s, scan(time.Hour, raw...)
}

func TestConvertDoesNotAllocate(t *testing.T) {
	for name, c := range kinds() {
		s, x := mat(c)
		if n := testing.AllocsPerRun(5, func() { x.At += 3e9; s.Convert(x) }); n != 0 {
			t.Errorf("%s: %v allocations a scan", name, n)
		}
	}
}

func BenchmarkConvert(b *testing.B) {
	lines := make([]calib.Line, cells)
	for i := range lines {
		lines[i] = calib.Line{Slope: 0.02 + float64(i)*1e-6}
	}
	plain := must(calib.NewConverter(calib.Counts, cells, lines))
	per := func(b *testing.B) { b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/cells, "ns/cell") }
	_, x := mat(kinds()["line"])
	b.Run("plain", func(b *testing.B) {
		for b.Loop() {
			plain.Convert(x.Values, x.Raw, 0, 4095)
		}
		per(b)
	})
	for _, name := range []string{"line", "quadratic", "power", "monotone", "sharp", "branches", "creeping"} {
		s, x := mat(kinds()[name])
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				x.At += 1e8
				s.Convert(x)
			}
			per(b)
		})
	}
}
