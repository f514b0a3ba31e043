package attempt_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/near"
	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules/attempt"
	"weald/rules/compression"
	"weald/rules/limb"
)

var nan = math.NaN()

// The reference says what the package comment does, site by site, and shares no code
// with it. Values are looked up in a table, NaN where nothing was read.
type table map[attempt.Step][]attempt.Value

func (b table) at(step attempt.Step, site int) attempt.Value {
	if values := b[step]; site < len(values) {
		return values[site]
	}
	return attempt.Value{MMHg: nan, U: nan}
}

// verdict: the resting level lying against the band, and sure where every edge is
// further away than its uncertainty.
func verdict(v attempt.Value, aim attempt.Band) (attempt.Verdict, bool) {
	switch {
	case math.IsNaN(v.MMHg):
		return attempt.Unknown, false
	case aim.Low == 0 && math.IsInf(aim.High, 1):
		return attempt.Free, true
	}
	sure := math.Abs(v.MMHg-aim.High) > v.U && (aim.Low == 0 || math.Abs(v.MMHg-aim.Low) > v.U)
	switch {
	case v.MMHg < aim.Low:
		return attempt.Under, math.Abs(v.MMHg-aim.Low) > v.U
	case v.MMHg > aim.High:
		return attempt.Over, math.Abs(v.MMHg-aim.High) > v.U
	}
	return attempt.Inside, sure
}

// faults: a site must not press harder than the one below it, from 5 mmHg on; and up to
// 50 cm its share of the lowest is held against what is asked.
func faults(p *attempt.Plan, lying []float64, i int) limb.Fault {
	if i == 0 {
		return limb.Fine
	}
	here, below, lowest := lying[i], lying[i-1], lying[0]
	if below >= 5 && here > below+1e-9 {
		return limb.Reversed
	}
	if p.Most == 0 || p.Sites[i].HeightCM > 50 || !(lowest >= 5) {
		return limb.Fine
	}
	switch share := here / lowest; {
	case share > p.Most+1e-9 && here > lowest:
		return limb.Reversed
	case share > p.Most+1e-9:
		return limb.Lost
	case p.Least > 0 && share < p.Least-1e-9:
		return limb.TooSteep
	}
	return limb.Fine
}

func drawPlan(t *rapid.T) attempt.Plan {
	p := attempt.Plan{Wrapping: compression.Wrapping{Newtons: 5, Layers: 2, WidthCM: 10}}
	for i := range rapid.IntRange(0, 4).Draw(t, "sites") {
		s := attempt.Site{ID: fmt.Sprint("s", i), HeightCM: rapid.SampledFrom([]float64{0, 12, 31, 50, 50.5, 70}).Draw(t, "height"), Aim: attempt.Open}
		s.GirthCM = float64(rapid.SampledFrom([]int{0, 20, 25, 36}).Draw(t, "girth"))
		if rapid.Bool().Draw(t, "aims") {
			s.Aim = attempt.Band{Low: float64(10 * rapid.IntRange(0, 3).Draw(t, "low")), High: float64(10 * rapid.IntRange(4, 6).Draw(t, "high"))}
		}
		p.Sites = append(p.Sites, s)
	}
	if rapid.IntRange(0, 3).Draw(t, "shares") > 0 {
		p.Scheme, p.Class, p.Least, p.Most = "ral", "II", 0.5, 0.8
	}
	return p
}

func drawReadings(t *rapid.T, sites int) (out []attempt.Reading, by table) {
	by = table{}
	for _, step := range attempt.Steps() {
		if rapid.IntRange(0, 4).Draw(t, "left out") == 0 {
			continue
		}
		r := attempt.Reading{Step: step}
		for range rapid.IntRange(max(0, sites-1), sites).Draw(t, "values") {
			v := attempt.Value{
				MMHg: float64(rapid.OneOf(rapid.IntRange(-8, 70), rapid.IntRange(24, 40)).Draw(t, "mmHg")),
				U:    rapid.SampledFrom([]float64{0, 1, 2, 5, nan}).Draw(t, "u"), Shared: rapid.SampledFrom([]float64{0, 1}).Draw(t, "shared"),
			}
			if rapid.IntRange(0, 9).Draw(t, "missing") == 0 {
				v = attempt.Value{MMHg: nan, U: nan, Shared: nan}
			}
			r.Values = append(r.Values, v)
		}
		out, by[step] = append(out, r), r.Values
	}
	return out, by
}

func alike(a, b float64) bool { return a == b || a != a && b != b || math.Abs(a-b) < 1e-9 }

func TestAgainstTheReference(t *testing.T) {
	seen := map[any]int{}
	enough := tried.Each[any](seen, 1, attempt.Unknown, attempt.Free, attempt.Under, attempt.Inside, attempt.Over, limb.Lost, limb.Reversed, limb.TooSteep)
	tried.Check(t, enough, func(t *rapid.T) {
		p := drawPlan(t)
		for range 5 {
			check(t, &p, seen)
		}
	})
}

// check judges readings of a plan both ways, and counts what was seen.
func check(t *rapid.T, p *attempt.Plan, seen map[any]int) {
	readings, by := drawReadings(t, len(p.Sites))
	got := attempt.Judge(p, readings)
	lying, pulls := []float64{}, []float64{}
	for i, s := range p.Sites {
		lying = append(lying, by.at(attempt.Lying, i).MMHg)
		if pull := lying[i] * s.GirthCM; pull > 0 {
			pulls = append(pulls, pull)
		}
	}
	for i, f := range got.Sites {
		lay, stood, bare := by.at(attempt.Lying, i), by.at(attempt.Standing, i), by.at(attempt.Bare, i).MMHg
		if want, sure := verdict(lay, p.Sites[i].Aim); f.Verdict != want || f.Sure != sure {
			t.Fatalf("%v aimed at %v: %v, sure %v; want %v, %v", lay, p.Sites[i].Aim, f.Verdict, f.Sure, want, sure)
		}
		fault := faults(p, lying, i)
		if graded := i > 0 && !math.IsNaN(lying[i]) && lying[i-1] >= 5; f.Fault != fault || f.Graded != graded {
			t.Fatalf("site %d of %v, %+v: %q, graded %v; want %q, %v", i, lying, *p, f.Fault, f.Graded, fault, graded)
		}
		residual := nan
		if i > 0 && lying[0] >= 5 {
			residual = lying[i] / lying[0]
		}
		pulled := nan
		if pull := lying[i] * p.Sites[i].GirthCM; pull > 0 {
			pulled = pull / slices.Max(pulls)
		}
		// JCGM 100, 5.1.2, with what the reference has of both left out.
		u := math.Sqrt(max(0, stood.U*stood.U-stood.Shared*stood.Shared) + max(0, lay.U*lay.U-lay.Shared*lay.Shared))
		for what, pair := range map[string][2]float64{
			"residual": {f.Residual, residual}, "pulled": {f.Pulled, pulled}, "lying": {f.Lying.MMHg, lay.MMHg},
			"stiffness": {f.Stiffness.MMHg, stood.MMHg - lay.MMHg}, "its uncertainty": {f.Stiffness.U, u},
			"swing":      {f.Swing.MMHg, by.at(attempt.Walking, i).MMHg},
			"prediction": {f.Laplace, p.Wrapping.Pressure(p.Sites[i].GirthCM)},
		} {
			if !alike(pair[0], pair[1]) {
				t.Fatalf("%s at site %d is %v, want %v", what, i, pair[0], pair[1])
			}
		}
		if f.Pressed != (bare > 5 || bare < -5) {
			t.Fatalf("bare %v mmHg: pressed %v", bare, f.Pressed)
		}
		seen[f.Verdict]++
		seen[f.Fault]++
	}
	class := ""
	if p.Scheme != "" && len(lying) > 0 {
		if c := compression.Named(p.Scheme).Of(lying[0]); c != nil {
			class = c.ID
		}
	}
	if got.Class != class {
		t.Fatalf("%v mmHg are of class %q, want %q", lying, got.Class, class)
	}
	even := nan
	if len(pulls) > 1 {
		even = slices.Min(pulls) / slices.Max(pulls)
	}
	if !alike(got.Evenness, even) {
		t.Fatalf("evenness %v, want %v", got.Evenness, even)
	}
}

// However often steps are read again: what is kept is in the order of the steps, each
// once, ends with the newest, and was kept before or is it; and nothing that somebody
// holds is changed.
func TestWhatIsKeptOfATry(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var all []attempt.Reading
		for k := range rapid.IntRange(1, 12).Draw(t, "readings") {
			r := attempt.Reading{Step: rapid.SampledFrom(attempt.Steps()).Draw(t, "step"), At: sample.Instant(k)}
			before := slices.Clone(all)
			next := attempt.Take(all, r)
			for i := range all {
				if all[i].At != before[i].At || all[i].Step != before[i].Step {
					t.Fatalf("what was held became %+v", all)
				}
			}
			var want []attempt.Reading
			for _, old := range before {
				if slices.Index(attempt.Steps(), old.Step) < slices.Index(attempt.Steps(), r.Step) {
					want = append(want, old)
				}
			}
			if want = append(want, r); fmt.Sprint(next) != fmt.Sprint(want) {
				t.Fatalf("%+v and then %s: %+v, want %+v", before, r.Step, next, want)
			}
			all = next
		}
	})
}

// The steps follow one another to the last, and only they have a quantity.
func TestStepsFollowOneAnother(t *testing.T) {
	var got []attempt.Step
	for s := attempt.Bare; s != ""; s = s.Next() {
		got = append(got, s)
	}
	if !slices.Equal(got, attempt.Steps()) || attempt.Step("").Quantity() != "" || attempt.Step("sitting").Quantity() != "" {
		t.Errorf("the steps are %v", got)
	}
}

// Every class can be aimed for and met: the middle of its band below the knee, with an
// even fall of what its standard asks, is inside, without a fault, and of that class.
func TestEveryClassCanBeMet(t *testing.T) {
	for _, s := range compression.Schemes() {
		for _, c := range s.Classes {
			p := bench()
			p.Aim(&s, &c)
			ankle := (c.Low + min(c.High, c.Low+10)) / 2
			share := 1.0
			if c.Most > 0 {
				share = (c.Least + c.Most) / 2
			}
			got := attempt.Judge(&p, []attempt.Reading{read(attempt.Lying, ankle, share*ankle)})
			verdicts := []attempt.Verdict{attempt.Inside, attempt.Inside}
			if s.Above == "" {
				verdicts[1] = attempt.Free
			}
			if got.Class != c.ID || got.Sites[0].Verdict != verdicts[0] || got.Sites[1].Verdict != verdicts[1] || got.Sites[1].Fault != limb.Fine {
				t.Errorf("%s %s with %v and %v mmHg: class %q, %+v", s.ID, c.ID, ankle, share*ankle, got.Class, got.Sites)
			}
		}
	}
}

// Sigel's profile of stockings for a hospital, 18, 14, 8, 10 and 8 mmHg from the ankle up
// (Arch Surg 1975;110:171-175, from memory), presses harder over the lower thigh than in
// the hollow of the knee: that is a reversal, and the other steps are none.
func TestSigelsProfile(t *testing.T) {
	var p attempt.Plan
	for _, id := range []string{"ankle", "calf", "hollow", "lower thigh", "upper thigh"} {
		p.Sites = append(p.Sites, attempt.Site{ID: id, Aim: attempt.Open})
	}
	got := attempt.Judge(&p, []attempt.Reading{read(attempt.Lying, 18, 14, 8, 10, 8)})
	for i, want := range []limb.Fault{limb.Fine, limb.Fine, limb.Fine, limb.Reversed, limb.Fine} {
		if f := got.Sites[i]; f.Fault != want || f.Graded != (i > 0) {
			t.Errorf("%s: %q, want %q", p.Sites[i].ID, f.Fault, want)
		}
	}
	near.To(t, "share over the calf", got.Sites[1].Residual, 14.0/18, 1e-12)
}

// Sure is who is further from an edge than the standard uncertainty, not as far: at and
// beside it, on either side of either edge of 35 to 45 mmHg ± 2.
func TestSureIsFurtherThanTheUncertainty(t *testing.T) {
	p := bench()
	for edge, want := range map[float64][2]attempt.Verdict{35: {attempt.Under, attempt.Inside}, 45: {attempt.Inside, attempt.Over}} {
		for side, by := range []float64{-1, 1} {
			for _, far := range []float64{2, 2.001} {
				got := attempt.Judge(&p, []attempt.Reading{read(attempt.Lying, edge+by*far, 25)}).Sites[0]
				if got.Verdict != want[side] || got.Sure != (far > 2) {
					t.Errorf("%v mmHg from %v: %v, sure %v", by*far, edge, got.Verdict, got.Sure)
				}
			}
		}
	}
}

// What the reference has of two readings goes with their difference: none of it is left to
// be shared with others.
func TestADifferenceSharesNothing(t *testing.T) {
	p := bench()
	got := attempt.Judge(&p, []attempt.Reading{read(attempt.Lying, 40, 28), read(attempt.Standing, 58, 37)}).Sites[0]
	if got.Stiffness.Shared != 0 || got.Lying.Shared != 1.2 {
		t.Errorf("of %+v and %+v", got.Lying, got.Stiffness)
	}
}
