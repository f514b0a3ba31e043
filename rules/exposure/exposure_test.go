package exposure_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/near"
	"weald/ingest/sample"
	"weald/rules/exposure"
)

func published(t testing.TB, name string) *exposure.Model {
	t.Helper()
	m, ok := exposure.Published(name)
	if !ok {
		t.Fatalf("there is no model %s", name)
	}
	return m
}

// The guideline curve: equation from Linares, Mawson, Suarez, J Basic Appl Sci
// 2012;8:720-728, Table 1; its values reckoned apart from this program.
func TestGuidelineCurve(t *testing.T) {
	m := published(t, exposure.ReswickRogers)
	for h, want := range map[float64]float64{
		0.5: 796.75, 1: 555.145, 2: 298.503, 3: 180.821, 4: 120.114, 6: 64.148, 8: 40.605, 10: 28.592, 12: 21.424, 16: 13.070,
	} {
		d := time.Duration(h * float64(time.Hour))
		near.To(t, "pressure", exposure.GuidelineMMHg(d), want, 1e-3*math.Max(1, want/555))
		back, where := m.Tolerated(exposure.GuidelineMMHg(d))
		switch {
		case h < 1: // no data: the original curve was drawn on beyond them
			if where != exposure.Above || m.Rate(want) != 1/time.Hour.Seconds() {
				t.Errorf("at %v h the curve has no data, yet it says %v, %v", h, back, where)
			}
		case where != exposure.Within:
			t.Errorf("%v h is %v, want within", h, where)
		default:
			near.To(t, "time back", back.Hours(), h, 1e-9)
		}
	}
	// Inverted by SciPy 1.10.1: brentq on the same equation between 1 and 16 h.
	for p, want := range map[float64]float64{
		500: 1.154559381, 300: 1.991023156, 200: 2.781318891, 120: 4.002549518, 100: 4.517026821, 80: 5.216926677,
		60: 6.257677036, 40: 8.076376792, 32: 9.306828343, 20: 12.520348272, 15: 14.834853084,
	} {
		got, _ := m.Tolerated(p)
		near.To(t, "time", got.Hours(), want, 1e-8)
	}
	if _, where := m.Tolerated(13.06); where != exposure.Below || m.Rate(13.06) != 0 {
		t.Errorf("13.06 mmHg is beyond 16 h, where there are no data: %v, rate %v", where, m.Rate(13.06))
	}
}

// The sigmoid of Linder-Ganz and others, J Biomech 2006;39(14):2725-2732: the
// parameters are from a secondary source, the values reckoned apart from this
// program, the plateaus those of the abstract.
func TestSigmoid(t *testing.T) {
	m := published(t, exposure.LinderGanz)
	for minutes, want := range map[int][2]float64{
		0: {31.0000, 232.52}, 15: {30.9999, 232.52}, 30: {30.9987, 232.51}, 45: {30.9873, 232.42}, 60: {30.8799, 231.62},
		75: {29.9092, 224.34}, 90: {23.6211, 177.17}, 95: {19.5, 146.26}, 100: {15.3789, 115.35}, 105: {12.1958, 91.48},
		120: {8.5285, 63.97}, 150: {8.0060, 60.05}, 180: {8.0001, 60.01}, 240: {8.0000, 60.00},
	} {
		kpa := exposure.SigmoidKPa(time.Duration(minutes) * time.Minute)
		near.To(t, "kPa", kpa, want[0], 5.1e-5)
		near.To(t, "mmHg", float64(sample.FromPascals(1000*kpa)), want[1], 5.1e-3+1e-3)
	}
	for p, want := range map[float64]float64{67: 116.09, 70: 113.59, 80: 108.55, 100: 102.99, 120: 99.19, 150: 94.42, 200: 85.27} {
		got, where := m.Tolerated(p)
		if where != exposure.Within {
			t.Errorf("%v mmHg is %v, want within", p, where)
		}
		near.To(t, "minutes", got.Minutes(), want, 5.1e-3)
	}
	if _, where := m.Tolerated(60.004); where != exposure.Below {
		t.Errorf("60.004 mmHg has a limit: %v", where)
	}
	if got, where := m.Tolerated(232.53); got != 0 || where != exposure.Above {
		t.Errorf("232.53 mmHg is tolerated for %v, %v", got, where)
	}
	near.To(t, "rate beyond the data, 1/min", m.Rate(400)*60, 1.0/15, 1e-12)
	// The abstract: more than 32 kPa within an hour, more than 9 kPa from two on.
	for minutes := range 241 {
		kpa := exposure.SigmoidKPa(time.Duration(minutes) * time.Minute)
		if minutes <= 60 && math.Abs(kpa-32) > 2 || minutes >= 120 && math.Abs(kpa-9) > 1 {
			t.Errorf("%d min: %v kPa is not on the plateau of the abstract", minutes, kpa)
		}
	}
}

// The models contradict each other, and the documentation says how.
func TestTheConflictThatIsDocumented(t *testing.T) {
	near.To(t, "guideline at 4 h", exposure.GuidelineMMHg(4*time.Hour), 120, 0.2)
	near.To(t, "muscle at 4 h", float64(sample.FromPascals(1000*exposure.SigmoidKPa(4*time.Hour))), 60, 0.1)
	near.To(t, "guideline at 8 h", exposure.GuidelineMMHg(8*time.Hour), 41, 0.5)
}

func TestEveryModelHasItsSourceAndCaution(t *testing.T) {
	for _, name := range exposure.Names() {
		m := published(t, name)
		if m.Source == "" || m.Title == "" || !strings.Contains(m.Caution, "look at the skin") || !strings.Contains(m.Caution, "local policy") {
			t.Errorf("%s: title %q, source %q, caution %q", name, m.Title, m.Source, m.Caution)
		}
	}
	if _, ok := exposure.Published("safe"); ok {
		t.Error("there is a model nobody published")
	}
}

func TestTable(t *testing.T) {
	m, err := exposure.Table([]exposure.Point{{40, 4 * time.Hour}, {80, 2 * time.Hour}, {160, 30 * time.Minute}})
	if err != nil {
		t.Fatal(err)
	}
	for p, want := range map[float64]float64{40: 4, 56.568542494923804: 2.8284271247461903, 80: 2, 113.13708498984761: 1, 160: 0.5} {
		got, where := m.Tolerated(p)
		if where != exposure.Within {
			t.Errorf("%v mmHg is %v", p, where)
		}
		near.To(t, "hours", got.Hours(), want, 1e-9)
	}
	if _, where := m.Tolerated(39.9); where != exposure.Below || m.Rate(39.9) != 0 {
		t.Error("the table is asked below its first point")
	}
	if _, where := m.Tolerated(161); where != exposure.Above || m.Rate(161) != 1.0/1800 {
		t.Error("the table is asked above its last point")
	}
	for _, bad := range [][]exposure.Point{
		{{40, time.Hour}},
		{{40, time.Hour}, {40, time.Minute}},
		{{40, time.Hour}, {80, time.Hour}},
		{{0, time.Hour}, {80, time.Minute}},
		{{40, time.Hour}, {math.NaN(), time.Minute}},
		{{40, time.Hour}, {80, 0}},
	} {
		if _, err := exposure.Table(bad); err == nil {
			t.Errorf("the table %v is taken", bad)
		}
	}
}

// A constant pressure uses everything in exactly the time that it is tolerated.
func TestADoseIsFullWhenTheTimeIsUp(t *testing.T) {
	for _, name := range exposure.Names() {
		s := exposure.Spec{Model: published(t, name), ForgetAfter: time.Hour}
		for _, p := range []float64{64, 100, 200} {
			var d exposure.Dose
			want, _ := s.Model.Tolerated(p)
			in, ok := d.Until(&s, 1, p)
			if !ok || (in-want).Abs() > time.Microsecond {
				t.Errorf("%s at %v mmHg: full in %v, want %v", name, p, in, want)
			}
			d.Advance(&s, in-time.Second, p)
			if d.Reached(1) {
				t.Errorf("%s at %v mmHg: full a second early", name, p)
			}
			d.Advance(&s, time.Second, p)
			if !d.Reached(1) {
				t.Errorf("%s at %v mmHg: %v used when the time is up", name, p, d.Used)
			}
		}
	}
}

// A story of load, relief and load, integrated by SciPy 1.10.1: solve_ivp with
// rtol 1e-12, on the sigmoid and with a recovery of 30 min from 2 min on.
func TestADoseAgainstAnIntegrator(t *testing.T) {
	s := exposure.Spec{Model: published(t, exposure.LinderGanz), Floor: 30, ResetsAfter: 2 * time.Minute, Recovery: 30 * time.Minute, ForgetAfter: time.Hour}
	var d exposure.Dose
	d.Advance(&s, 40*time.Minute, 100)
	near.To(t, "after 40 min of 100 mmHg", d.Used, 0.388400536958, 1e-9)
	d.Advance(&s, 2*time.Minute, 20)
	near.To(t, "2 min of relief change nothing", d.Used, 0.388400536958, 1e-9)
	d.Advance(&s, 3*time.Minute, math.NaN())
	near.To(t, "nor does a hole", d.Used, 0.388400536958, 1e-9)
	d.Advance(&s, 8*time.Minute, 20)
	near.To(t, "after 8 min of recovery", d.Used, 0.297486977892, 1e-9)
	d.Advance(&s, 30*time.Minute, 150)
	near.To(t, "after 30 min of 150 mmHg", d.Used, 0.615210109926, 1e-9)
	d.Advance(&s, time.Hour, math.NaN())
	near.To(t, "after an hour of silence", d.Used, 0, 0)

	// A ramp from 70 to 200 mmHg over two hours, read every second.
	d = exposure.Dose{}
	for i := range 7200 {
		d.Advance(&s, time.Second, 70+130*(float64(i)+0.5)/7200)
	}
	near.To(t, "after the ramp", d.Used, 1.239382569, 1e-6)
}

// The table for thousands of cells is the model to 0.1 %, and beyond the data its
// shortest time.
func TestTabulated(t *testing.T) {
	own, err := exposure.Table([]exposure.Point{{40, 4 * time.Hour}, {80, 2 * time.Hour}, {160, 30 * time.Minute}})
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range []*exposure.Model{published(t, exposure.LinderGanz), published(t, exposure.ReswickRogers), own} {
		table := m.Tabulated()
		for p := 0.0; p < 700; p += 0.037 {
			want, got := m.Rate(p), table.Rate(p)
			if math.Abs(got-want) > 1e-3*want {
				t.Fatalf("%s at %v mmHg: rate %v, want %v", m.Name, p, got, want)
			}
		}
	}
}

// However time is cut, the same is used; Until is neither early nor late.
func TestCutsChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, _ := exposure.Published(rapid.SampledFrom(exposure.Names()).Draw(t, "model"))
		seconds := func(name string, most int) time.Duration {
			return time.Duration(rapid.IntRange(0, most).Draw(t, name)) * time.Second
		}
		s := exposure.Spec{
			Model: m, Floor: rapid.Float64Range(0, 60).Draw(t, "floor"), ResetsAfter: seconds("resets after", 300),
			Recovery:    rapid.SampledFrom([]time.Duration{0, time.Minute, time.Hour, exposure.Never}).Draw(t, "recovery"),
			ForgetAfter: 10 * time.Minute,
		}
		share := rapid.Float64Range(0.05, 1.5).Draw(t, "share")
		var whole, cut exposure.Dose
		for range rapid.IntRange(1, 12).Draw(t, "spans") {
			p := rapid.OneOf(rapid.Float64Range(0, 400), rapid.Just(math.NaN())).Draw(t, "pressure")
			span := seconds("span", 4000)
			before := whole
			in, ok := whole.Until(&s, share, p)
			whole.Advance(&s, span, p)
			for left := span; left > 0; {
				step := min(left, time.Duration(rapid.IntRange(1, 1_000_000).Draw(t, "step"))*time.Millisecond)
				cut.Advance(&s, step, p)
				left -= step
			}
			if math.Abs(whole.Used-cut.Used) > 1e-9*(1+whole.Used) || whole.Unloaded != cut.Unloaded || whole.Silent != cut.Silent {
				t.Fatalf("in one: %+v, in pieces: %+v", whole, cut)
			}
			cut = whole
			if p != p {
				continue // what silence forgets is no crossing
			}
			if turned := before.Reached(share) != whole.Reached(share); turned != (ok && in <= span) {
				t.Fatalf("from %+v at %v mmHg for %v to %+v, share %v: Until said %v %v", before, p, span, whole, share, in, ok)
			}
			if ok {
				before.Advance(&s, in, p)
				if before.Reached(share) != (p > s.Floor) {
					t.Fatalf("Until said %v, and then %v of %v are used", in, before.Used, share)
				}
			}
		}
	})
}
