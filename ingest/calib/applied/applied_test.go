package applied_test

import (
	"bytes"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
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
		"falling":   calibration(must(curve.New(curve.Power, 2550, 0.003, 1.3, -1))),
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

// says is what a calibration says, with the uncertainty that may be stated at most.
// Outside of its range the live form goes on along a line: of the pressure through
// the end and what is an eighth of the span beyond it; of the uncertainty through
// what is a span beyond, which is the most.
func says(c *curve.Calibration, raw float64, d curve.Direction, age time.Duration) (v curve.Value, most float64) {
	v = c.Value(raw, d, age)
	if !v.Extrapolated {
		return v, v.Independent
	}
	end := min(max(raw, c.Raw.Low), c.Raw.High)
	out := c.Raw.Span()
	if raw < end {
		out = -out
	}
	from, near, far := c.Value(end, d, age), c.Value(end+out/8, d, age), c.Value(end+out, d, age)
	share := (raw - end) / out
	v.MMHg = from.MMHg + sample.MMHg(8*share)*(near.MMHg-from.MMHg)
	return v, max(v.Independent, from.Independent+share*(far.Independent-from.Independent))
}

// close reports whether the first channel has a value, within what a table may be
// off by: less than a tenth of the uncertainty, so that the error of the table
// makes the pressure less than 1 % more uncertain, or some hundredths of a mmHg; or
// what it has added to the uncertainty. Outside of the range that is so much more as
// it is farther.
func close(x *sample.Scan, c *curve.Calibration, want curve.Value, most float64) bool {
	slack := 1 + 8*max(c.Raw.Low-x.Raw[0], x.Raw[0]-c.Raw.High, 0)/c.Raw.Span()
	added := math.Sqrt(max(0, x.U[0]*x.U[0]-want.Independent*want.Independent))
	return math.Abs(x.Values[0]-float64(want.MMHg)) <= max(slack*(0.01+0.1*want.Independent), added) &&
		x.U[0] >= (1-slack*0.06)*want.Independent && x.U[0] <= (1+slack*0.06)*most &&
		x.Shared[0] == want.Shared && (x.Extrapolated[0] == want.Extrapolated || atEnd(c, x.Raw[0]))
}

// atEnd reports whether a count is so close to an end of the calibrated range that
// either side is right.
func atEnd(c *curve.Calibration, raw float64) bool {
	return min(math.Abs(raw-c.Raw.Low), math.Abs(raw-c.Raw.High)) < c.Raw.Span()/50000
}

// What comes out is the record's own formula, computed each time from the whole
// history in the slow way.
func TestConvertIsTheRecord(t *testing.T) {
	for name, c := range kinds() {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				s := set(recordOf(0, c))
				// A table may turn where the formula just does not: the width is
				// tried a little smaller and larger too, and any of these is right.
				var motions [15]curve.Motion
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
							up, _ := says(&c, raw, curve.Loading, 0)
							d, load = motions[k].Step(x.At, float64(up.MMHg), c.Width*(1+0.01*float64(k-7)))
						}
						want, most := says(&c, raw, d, time.Duration(days)*24*time.Hour)
						if c.Creep != nil && inOrder {
							grown := want
							grown.Independent = most
							want, most = c.Creep.Correct(want, load), c.Creep.Correct(grown, load).Independent
						}
						fits = fits || close(x, &c, want, most)
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

// At every count of the calibrated range the table is off by less than a tenth of
// the uncertainty, and the uncertainty by no more than 6 %.
func TestTablesAreCloseToTheCurve(t *testing.T) {
	for name, c := range kinds() {
		s, worst, worstU := set(recordOf(0, c)), 0.0, 0.0
		s.Convert(scan(time.Hour, 100, 5))
		for raw := c.Raw.Low; raw <= c.Raw.High; raw++ {
			x := scan(0, raw, 5) // before the other, so without a direction
			s.Convert(x)
			want := c.Value(raw, curve.Still, 0)
			if x.Extrapolated[0] {
				t.Errorf("%s: %v is extrapolated", name, raw)
			}
			worst = max(worst, math.Abs(x.Values[0]-float64(want.MMHg))/want.Independent)
			worstU = max(worstU, math.Abs(x.U[0]/want.Independent-1))
		}
		t.Logf("%s: %.1f B a channel, off by %.3f of the uncertainty, which is off by %.3f", name, s.BytesPerChannel(), worst, worstU)
		if !(worst < 0.1) || !(worstU < 0.06) {
			t.Errorf("%s: off by %v of the uncertainty, which is off by %v", name, worst, worstU)
		}
		most := 210.0 // so that 200 mats of 2,048 cells take less than 70 MB, as 48 of these bytes are for all of a mat
		switch {
		case c.Creep != nil:
			most = 550
		case c.Unloading != nil:
			most = 450
		case name == "sharp":
			most = 300
		}
		if got := s.BytesPerChannel(); got > most {
			t.Errorf("%s: %v bytes a channel, want at most %v", name, got, most)
		}
	}
}

// A curve for which no table is fine enough says so in its uncertainty.
func TestWhatNoTableFollowsIsMoreUncertain(t *testing.T) {
	var knots []curve.Knot
	for i := range 40 { // stairs
		knots = append(knots, curve.Knot{Raw: 100 + 60*float64(i), MMHg: 10 * float64(i)}, curve.Knot{Raw: 158 + 60*float64(i), MMHg: 10 * float64(i)})
	}
	c := calibration(must(curve.Through(knots)))
	s := set(recordOf(0, c))
	for raw := 100.0; raw < 2450; raw++ {
		x := scan(time.Hour, raw, 5)
		s.Convert(x)
		if want := c.Value(raw, curve.Still, 0); math.Abs(x.Values[0]-float64(want.MMHg)) > 1.01*x.U[0] {
			t.Fatalf("at %v: %v ± %v, want %v", raw, x.Values[0], x.U[0], want.MMHg)
		}
	}
}

// What is kept of a Set at any scan goes on to the bit, beside others of every form:
// so where the last reading was found does not matter to what the next one gives.
func TestStateGoesOn(t *testing.T) {
	var records []*record.Record
	k := kinds()
	for i, name := range slices.Sorted(maps.Keys(k)) {
		records = append(records, recordOf(i, k[name]))
	}
	begin := func() *applied.Set {
		s := applied.NewSet([]applied.Source{{ID: "trolley/leg", Channels: len(records)}})
		for _, r := range records {
			if err := s.Apply(r); err != nil {
				panic(err)
			}
		}
		return s
	}
	same := func(a, b float64) bool { return a == b || a != a && b != b }
	rapid.Check(t, func(t *rapid.T) {
		a, b := begin(), begin()
		at := time.Duration(0)
		load := rapid.Float64Range(0, 3000)
		now := make([]float64, len(records))
		for range rapid.IntRange(1, 60).Draw(t, "scans") {
			at += time.Duration(rapid.OneOf(rapid.IntRange(1, 3), rapid.IntRange(-100, 40000)).Draw(t, "seconds")) * time.Second
			for i := range now {
				switch rapid.IntRange(0, 19).Draw(t, "what") {
				case 0:
					now[i] = load.Draw(t, "load")
				case 1:
					now[i] = rapid.SampledFrom([]float64{100, 300, 2600, 4095, math.NaN(), math.Inf(1)}).Draw(t, "rare")
				default:
					now[i] += float64(rapid.IntRange(-2, 2).Draw(t, "noise"))
				}
			}
			x, y := scan(at, now...), scan(at, now...)
			if rapid.IntRange(0, 9).Draw(t, "withhold") == 0 {
				x.Withheld = []int{rapid.IntRange(0, len(now)-1).Draw(t, "withheld")}
				y.Withheld = x.Withheld
			}
			x.Rail = rapid.SampledFrom([]float64{4095, 4095, 4095, 2000, 0}).Draw(t, "rail")
			y.Rail = x.Rail
			a.Convert(x)
			b.Convert(y)
			for i := range now {
				if !same(x.Values[i], y.Values[i]) || !same(x.U[i], y.U[i]) || x.Extrapolated[i] != y.Extrapolated[i] {
					t.Fatalf("channel %d: %v ± %v, taken up again %v ± %v", i, x.Values[i], x.U[i], y.Values[i], y.U[i])
				}
			}
			if rapid.Bool().Draw(t, "restart") {
				kept := b.Append(0, nil)
				if again := a.Append(0, nil); !bytes.Equal(kept, again) {
					t.Fatalf("%x is kept, taken up again %x", again, kept)
				}
				b = begin()
				if err := b.Read(0, kept); err != nil {
					t.Fatal(err)
				}
			}
		}
		kept := a.Append(0, nil)
		if err := begin().Read(0, kept[:rapid.IntRange(0, 7).Draw(t, "cut")]); err == nil {
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

// From the instant after its date on a calibration is past it, until there is
// another.
func TestCalibrationsExpire(t *testing.T) {
	r := recordOf(0, kinds()["line"])
	s := set(r)
	expired := func(at time.Time) []bool {
		x := scan(at.Sub(made), 900, 900)
		s.Convert(x)
		return x.Expired
	}
	if got := expired(r.ValidUntil); got != nil {
		t.Errorf("on its date: %v", got)
	}
	if got := expired(r.ValidUntil.Add(1)); !slices.Equal(got, []bool{true, false}) {
		t.Errorf("after it: %v", got)
	}
	later := *r
	later.ValidUntil = later.ValidUntil.AddDate(1, 0, 0)
	if err := s.Apply(&later); err != nil {
		t.Fatal(err)
	}
	if got := expired(r.ValidUntil.Add(2)); got != nil {
		t.Errorf("with another: %v", got)
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
	if s.InForce(0, 0) != good.ID() {
		t.Error("the former record is no longer in force")
	}
}

const cells = 2048

// mat has as many different curves as cells, or one for all: a processor has less
// to fetch of one than a real mat would let it have.
func mat(c curve.Calibration, different bool) (*applied.Set, *sample.Scan) {
	s := applied.NewSet([]applied.Source{{ID: "trolley/leg", Channels: cells}})
	raw := make([]float64, cells)
	for i := range raw {
		k := c
		if different {
			k.Loading = bent(c.Loading, i)
			if c.Unloading != nil {
				down := bent(*c.Unloading, i)
				k.Unloading = &down
			}
		}
		if err := s.Apply(recordOf(i, k)); err != nil {
			panic(err)
		}
		raw[i] = 100 + float64(i*7919%2500)
	}
	return s, scan(time.Hour, raw...)
}

// bent is a curve that is a few percent different for each cell.
func bent(c curve.Curve, cell int) curve.Curve {
	by := 1 + 0.1*float64(cell*5407%cells)/cells
	if c.Model() == curve.Monotone {
		knots := c.Knots()
		for i := range knots {
			knots[i].MMHg *= by
		}
		return must(curve.Through(knots))
	}
	k := c.Coefficients()
	k[1] *= by
	return must(curve.New(c.Model(), k...))
}

func TestConvertDoesNotAllocate(t *testing.T) {
	for name, c := range kinds() {
		s, x := mat(c, false)
		if n := testing.AllocsPerRun(5, func() { x.At += 3e9; s.Convert(x) }); n != 0 {
			t.Errorf("%s: %v allocations a scan", name, n)
		}
	}
}

// BenchmarkConvert shows what a record costs beside a straight line of the
// configuration, which has no uncertainty, on a mat of which every cell has a curve
// of its own and the noise of a count, after ten minutes of that; half of the cells
// have no load and are where the calibrated range begins. Both are measured in turn,
// for some scans each: a shared machine says something different every second.
func BenchmarkConvert(b *testing.B) {
	lines := make([]calib.Line, cells)
	for i := range lines {
		lines[i] = calib.Line{Slope: 0.02 + float64(i)*1e-6}
	}
	plain := must(calib.NewConverter(calib.Counts, cells, lines))
	const scans = 16
	rng := rand.New(rand.NewPCG(1, 1))
	var raws [scans][cells]float64
	feel := func() {
		for i := range raws {
			for k := range raws[i] {
				load := 100.
				if k/64%2 == 1 {
					load += float64(k * 7919 % 2500)
				}
				raws[i][k] = load + math.Round(rng.NormFloat64())
			}
		}
	}
	for _, name := range []string{"line", "quadratic", "power", "monotone", "sharp", "branches", "creeping"} {
		for _, every := range []time.Duration{100 * time.Millisecond, time.Second} {
			s, x := mat(kinds()[name], true)
			convert := func() {
				for n := range scans {
					x.Raw = raws[n][:]
					x.At += sample.Instant(every)
					s.Convert(x)
				}
			}
			for range 10 * time.Minute / every / scans {
				feel()
				convert()
			}
			b.Run(fmt.Sprintf("%s/%v", name, every), func(b *testing.B) {
				var lines, records []float64
				for b.Loop() {
					feel()
					began := time.Now()
					for n := range scans {
						plain.Convert(x.Values, raws[n][:], 0, 4095)
					}
					between := time.Now()
					convert()
					lines = append(lines, float64(between.Sub(began).Nanoseconds())/scans/cells)
					records = append(records, float64(time.Since(between).Nanoseconds())/scans/cells)
				}
				slices.Sort(lines)
				slices.Sort(records)
				n := len(lines) / 2
				b.ReportMetric(0, "ns/op")
				b.ReportMetric(lines[0], "ns/cell-of-a-line")
				b.ReportMetric(records[0]-lines[0], "ns/cell-more")
				b.ReportMetric(records[n]-lines[n], "ns/cell-more-median")
				b.ReportMetric(s.BytesPerChannel(), "B/cell")
			})
		}
	}
}
