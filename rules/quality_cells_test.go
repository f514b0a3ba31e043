package rules_test

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
	"weald/rules/alert"
)

// The alert of a mat asks for so many faulty cells: its condition is so whenever as many
// sites of one channel each, with the cells' readings, have one of these faults. What
// needs neighbours, as a channel that is stuck does, is left out here.
func TestFaultsOfAMatAreThoseOfItsCells(t *testing.T) {
	faults := []rules.Fault{rules.Silent, rules.Uncalibrated, rules.Saturated, rules.Missing, rules.Expired, rules.Extrapolated}
	seen := map[sample.Truth]int{}
	tried.Check(t, tried.Each(seen, 100, sample.Yes, sample.No), func(t *rapid.T) {
		r := faulty(rapid.Permutation(faults).Draw(t, "faults")[:rapid.IntRange(1, 4).Draw(t, "n")]...)
		r.OnDelay = 0
		r.Quality.Share = rapid.SampledFrom([]float64{0, 0.1, 0.25, 0.5, 0.76, 1}).Draw(t, "share")
		need := max(1, int(r.Quality.Share*6+0.999999))
		mat, apart := patched(rules.Rule{Exposure: &rules.Exposure{}})
		mat.Rules, apart.Rules = []rules.Rule{r}, []rules.Rule{r}
		a, b := begun(mat), begun(apart)
		now := sample.Instant(0)
		for range rapid.IntRange(1, 12).Draw(t, "scans") {
			now = now.Add(ms(rapid.SampledFrom([]int{1000, 1000, 2500}).Draw(t, "later")))
			for _, s := range []*story{a, b} {
				s.Tick(now)
			}
			x := sample.Scan{At: now, Arrived: now, Rail: 4095, Extrapolated: make([]bool, 6), U: repeat(1, 6), Shared: repeat(0, 6), Expired: make([]bool, 6)}
			for i := range 6 {
				raw, v := 400.0, 40.0
				switch rapid.IntRange(0, 9).Draw(t, "cell") {
				case 0:
					raw, v = 4095, sample.Unknown
				case 1:
					v = sample.Unknown
				case 2:
					raw, v = sample.Unknown, sample.Unknown
				case 3:
					x.Expired[i] = true
				case 4:
					x.Extrapolated[i] = true
				case 5:
					x.Extrapolated[i], v = true, 5 // nothing lies on it
				}
				x.Raw, x.Values = append(x.Raw, raw), append(x.Values, v)
			}
			check := func() {
				n := 0
				for _, p := range b.Progress(0, nil) {
					if p.Condition == sample.Yes {
						n++
					}
				}
				got := a.Progress(0, nil)[0].Condition
				if seen[got]++; got != sample.Of(n >= need) {
					t.Fatalf("%v with a share of %v: %d of 6 cells are faulty, and the mat is %v\n%+v", r.Quality.Of, r.Quality.Share, n, got, x)
				}
			}
			if a.LastScan(0) != sample.Past {
				check() // also after a silence
			}
			a.Scan(&x)
			b.Scan(&x)
			check()
		}
		lines := func(s *story) (out []string) {
			return s.spans(func(k alert.Key) bool { return k.Rule == r.ID })
		}
		if r.Quality.Share == 0 && !slices.Equal(lines(a), lines(b)) {
			t.Fatalf("any one cell: %q, the cells %q", lines(a), lines(b))
		}
	})
}

// A member that disagrees is a fault of its site as long as it is left out, and of no
// other; a source that is at fault is one of every site that it has a channel of.
func TestFaultsAreOfWhomTheyConcern(t *testing.T) {
	plan := cluster(3, repeat(2, 4), faulty(rules.Disagrees, rules.Battery))
	plan.Sources[0].Channels = 4
	plan.Places[0].Sites = append(plan.Places[0].Sites, rules.Site{ID: "calf", Channels: []rules.Channel{{Index: 3}}})
	plan.Sources = append(plan.Sources, rules.Source{ID: "b/leg", Channels: 1, StaleAfter: 3 * time.Second, Calibrated: true})
	plan.Places[0].Sites = append(plan.Places[0].Sites, rules.Site{ID: "thigh", Channels: []rules.Channel{{Source: 1}}})
	s := newStory(t, plan)
	is := func(second int) (faulty []string) {
		for _, p := range s.Progress(0, nil) {
			if p.Condition == sample.Yes {
				faulty = append(faulty, p.Subject)
			}
		}
		return faulty
	}
	for second := range 150 {
		x := sample.Scan{At: at(time.Duration(second) * time.Second), Arrived: at(time.Duration(second) * time.Second), Values: []float64{40, 41, 41, 30}}
		if second >= 10 && second < 60 {
			x.Values[1] = 90
		}
		if second >= 130 {
			x.Battery = sample.ChargeOf(3)
		}
		s.Scan(&x)
		s.scan(1, time.Duration(second)*time.Second, 30)
		want := []string(nil)
		switch {
		case second >= 130: // everything that the source measures
			want = []string{"ankle", "calf"}
		case second >= 40 && second < 120: // 30 s after it began, until 60 s after it ended
			want = []string{"ankle"}
		}
		if got := is(second); second != 40 && second != 120 && !slices.Equal(got, want) {
			t.Errorf("at %d s %v are faulty, want %v", second, got, want)
		}
	}
}
