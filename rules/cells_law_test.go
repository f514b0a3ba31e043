package rules_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
	"weald/rules/alert"
	"weald/rules/exposure"
)

// patched is a mat of six cells, four of them in regions that overlap, one in a region
// of its own and one in none; apart has a site with a rule for each of these cells.
func patched(r rules.Rule) (mat, apart *rules.Plan) {
	r.ID, r.Priority = "rule", alert.Low
	source := rules.Source{ID: "a/mat", Channels: 6, StaleAfter: 2 * time.Second, Calibrated: true}
	mat = &rules.Plan{Sources: []rules.Source{source}, Rules: []rules.Rule{r}, Places: []rules.Place{{ID: "bed-4", Kind: rules.Bed, Mat: &rules.Mat{
		Rows: 2, Columns: 3, PitchMM: [2]float64{20, 20}, LoadedAbove: 20,
		Regions: []rules.Region{{ID: "back", Cells: []int{0, 1, 2}}, {ID: "spine", Cells: []int{1, 3}}, {ID: "heels", Cells: []int{4}}},
	}}}}
	apart = &rules.Plan{Sources: []rules.Source{source}, Places: []rules.Place{{ID: "bed-4", Kind: rules.Bed}}}
	for i := range 6 {
		site := fmt.Sprintf("c%d", i)
		apart.Places[0].Sites = append(apart.Places[0].Sites, rules.Site{ID: site, Channels: []rules.Channel{{Index: i}}})
		one := r
		one.ID = site
		if r.Limit != nil {
			limit := *r.Limit
			limit.Watch = site + ".pressure"
			one.Limit = &limit
		} else {
			x := *r.Exposure
			x.Of = site
			one.Exposure = &x
		}
		apart.Rules = append(apart.Rules, one)
	}
	return mat, apart
}

// parts are the alerts of patched and the sites that they stand for.
var parts = map[string][]string{"back": {"c0", "c1", "c2"}, "spine": {"c1", "c3"}, "heels": {"c4"}, rules.WholeMat: {"c5"}}

// drawPresses draws scans of six cells with uncertainties, of whole mmHg, some missing.
func drawPresses(t *rapid.T, pressures []float64, to ...*story) {
	at := sample.Instant(0)
	for range rapid.IntRange(5, 40).Draw(t, "scans") {
		at = at.Add(ms(rapid.SampledFrom([]int{1, 300, 1000, 1000, 1000, 2500}).Draw(t, "step")))
		x := sample.Scan{At: at, Arrived: at, Extrapolated: make([]bool, 6)}
		for range 6 {
			x.Values = append(x.Values, rapid.SampledFrom(pressures).Draw(t, "v"))
			x.U = append(x.U, rapid.SampledFrom([]float64{0.5, 2, math.NaN()}).Draw(t, "u"))
			x.Shared = append(x.Shared, rapid.SampledFrom([]float64{0, 1}).Draw(t, "shared"))
		}
		for _, s := range to {
			s.Scan(&x)
		}
	}
}

// sameSpans holds the alerts of regions to those of their cells.
func sameSpans(t *rapid.T, mat, apart *story) (raised int) {
	for region, sites := range parts {
		got := mat.spans(func(k alert.Key) bool { return k.Subject == region })
		want := apart.spans(func(k alert.Key) bool { return slices.Contains(sites, k.Rule) })
		if !slices.Equal(got, want) {
			t.Fatalf("%s is raised and cleared %q, its cells by themselves %q\n%q\n%q", region, got, want, mat.lines, apart.lines)
		}
		raised += len(got)
	}
	return raised
}

// A region's alert stands as long as that of any of its cells would, were each a site of
// its own with the same rule: of regions that overlap too, and of cells in none. It has
// lost its signal when none of the raised ones has a value, it has come as far as the
// furthest of them, and it is due when the first of them is.
func TestARegionIsItsCells(t *testing.T) {
	raised, lost, due := 0, 0, 0
	fewUntil(t, 50, tried.All(tried.Count(&raised, 100), tried.Count(&lost, 2), tried.Count(&due, 10)), func(t *rapid.T) {
		r := rules.Rule{Limit: &rules.Limit{Watch: "mat.pressure", Above: ptr(32), Deadband: rapid.SampledFrom([]float64{0, 2}).Draw(t, "deadband")}}
		if rapid.Bool().Draw(t, "below") {
			r.Limit.Below, r.Limit.Above = r.Limit.Above, nil
		}
		drawDelays(t, &r, 3000)
		r.Certainty = rapid.SampledFrom([]float64{0, 0, 0.9, 0.1}).Draw(t, "certainty")
		a, b := patched(r)
		mat, apart := begun(a), begun(b)
		pressures := []float64{28, 31, 32, 33, 34, 36, math.NaN()}
		drawPresses(t, pressures, mat, apart)
		for region, sites := range parts {
			p, _ := mat.progressOf(0, "rule", region)
			want := rules.Progress{Due: sample.Never, Unknown: true}
			for _, site := range sites {
				c, _ := apart.progressOf(0, site, site)
				want.Raised = want.Raised || c.Raised
				want.Unknown = want.Unknown && (c.Unknown || !c.Raised)
				want.Held, want.Due = max(want.Held, c.Held), min(want.Due, c.Due)
			}
			if want.Unknown = want.Unknown && want.Raised; want.Raised {
				want.Due = sample.Never
			}
			if p.Raised != want.Raised || p.Unknown != want.Unknown || p.Due != want.Due || p.Held != want.Held && !p.Raised {
				t.Fatalf("%s: %+v, its cells %+v", region, p, want)
			}
			if p.Unknown {
				lost++
			}
			if p.Due != sample.Never {
				due++
			}
		}
		mat.Finish()
		apart.Finish()
		raised += sameSpans(t, mat, apart)
	})
}

// The same of doses: a region has used as much of its tolerance as the worst of its
// cells, and stands as long as any of them does. Half of its cells are always known here,
// so that nothing is unknown of the region that is known of a cell.
func TestAnExposedRegionIsItsCells(t *testing.T) {
	raised := 0
	fewUntil(t, 35, tried.Count(&raised, 50), func(t *rapid.T) {
		table := []exposure.Point{{MMHg: 31, Time: 16 * time.Second}, {MMHg: 40, Time: 4 * time.Second}}
		r := rules.Rule{Exposure: &rules.Exposure{Table: table, Share: 0.5, Floor: 30, Recovery: rapid.SampledFrom([]time.Duration{0, 5 * time.Second, exposure.Never}).Draw(t, "recovery")}}
		r.ResetsAfter, r.ForgetAfter = ms(rapid.IntRange(0, 2000).Draw(t, "resets")), time.Minute
		a, b := patched(r)
		a.Sources[0].StaleAfter, b.Sources[0].StaleAfter = time.Minute, time.Minute
		mat, apart := begun(a), begun(b)
		drawPresses(t, []float64{0, 10, 30, 31, 32, 36, 40, 60}, mat, apart)
		for region, sites := range parts {
			p, _ := mat.progressOf(0, "rule", region)
			used := 0.0
			for _, site := range sites {
				c, _ := apart.progressOf(0, site, site)
				used = max(used, c.Share)
			}
			if math.Abs(p.Share-used) > 1e-6 {
				t.Fatalf("%s has used %v, the worst of its cells %v", region, p.Share, used)
			}
		}
		mat.Finish()
		apart.Finish()
		raised += sameSpans(t, mat, apart)
	})
}
