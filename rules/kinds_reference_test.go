package rules_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
	"weald/rules/hold/holdtest"
)

// The references of this file say anew at each reading, from all readings so far,
// whether a rule's condition is true. What follows from that in time is the
// reference of package holdtest, which goes by the millisecond.

// A heard is one scan of an ankle and a calf, at a millisecond.
type heard struct {
	at          int
	ankle, calf float64
}

// drawHeard draws scans on an uneven clock with holes: what is felt comes from feel,
// what is missing by chance.
func drawHeard(t *rapid.T, n int, steps []int, hole int, feel func(k int) (ankle, calf float64)) (all []heard) {
	at := rapid.IntRange(0, 400).Draw(t, "first")
	for k := range n {
		h := heard{at: at}
		h.ankle, h.calf = feel(k)
		switch rapid.IntRange(0, 40).Draw(t, "missing") {
		case 40:
			h.ankle = math.NaN()
		case 39:
			h.calf = math.NaN()
		case 38:
			at += hole
		}
		all = append(all, h)
		at += rapid.SampledFrom(steps).Draw(t, "step")
	}
	return all
}

// heldTo plays scans to a rule, some late ones among them, and holds what it raises
// and clears to what the reference says of the condition at each. It returns how
// often something happened.
func heldTo(t *rapid.T, r rules.Rule, stale int, all []heard, condition func(k int) sample.Truth) int {
	plan := leg(r)
	plan.Sources[0].StaleAfter = time.Duration(stale) * time.Millisecond
	if problems := plan.Check(); len(problems) > 0 {
		t.Fatalf("the plan is wrong: %v", problems)
	}
	s := &story{plan: plan}
	s.Engine = rules.NewEngine(plan, s)
	var conditions []holdtest.Reading
	for k, h := range all {
		s.scan(0, time.Duration(h.at)*time.Millisecond, h.ankle, h.calf)
		if k > 0 && rapid.IntRange(0, 20).Draw(t, "late") == 20 {
			s.scan(0, time.Duration(h.at-1)*time.Millisecond, 99, 1) // says otherwise, and counts for nothing
		}
		is := map[sample.Truth]float64{sample.Yes: 1, sample.No: 0, sample.Maybe: math.NaN()}[condition(k)]
		conditions = append(conditions, holdtest.Reading{At: h.at, Value: is})
	}
	ms := func(d time.Duration) int { return int(d.Milliseconds()) }
	forget := r.ForgetAfter
	if forget == 0 {
		forget = rules.DefaultForgetAfter
	}
	var want, got []string
	for _, h := range holdtest.Reference(conditions, holdtest.Settings{
		Kind: "above", Limit: 0.5, Stale: stale, End: all[len(all)-1].at,
		On: ms(r.OnDelay), Off: ms(r.OffDelay), Resets: ms(r.ResetsAfter), Forget: ms(forget),
	}) {
		want = append(want, fmt.Sprintf("%v %s", time.Duration(h.At)*time.Millisecond, h.What))
	}
	for _, line := range s.lines {
		if f := strings.Fields(line); f[1] == "raised" || f[1] == "cleared" {
			got = append(got, f[0]+" "+f[1])
		}
	}
	if !slices.Equal(got, want) {
		t.Fatalf("happened: %q, want %q\n%v\n%v", got, want, all, conditions)
	}
	return len(want)
}

func drawDelays(t *rapid.T, r *rules.Rule, most int) {
	draw := func(name string, least int) time.Duration {
		return time.Duration(rapid.IntRange(least, most).Draw(t, name)) * time.Millisecond
	}
	r.OnDelay, r.OffDelay, r.ResetsAfter, r.ForgetAfter = draw("on", 0), draw("off", 0), draw("resets", 0), draw("forget", 1)
}

// Graduation in whole mmHg and whole percent, where no rounding can hide.
func TestGraduationAgainstASlowReference(t *testing.T) {
	happened := 0
	tried.Check(t, tried.Count(&happened, 100), func(t *rapid.T) {
		ratio := rapid.SampledFrom([]int{0, 70, 80, 100}).Draw(t, "ratio")
		steepest := rapid.SampledFrom([]int{0, 30, 50}).Draw(t, "steepest")
		drop := rapid.SampledFrom([]int{0, 4, 10}).Draw(t, "drop")
		if ratio+steepest+drop == 0 {
			ratio = 80
		}
		r := rules.Rule{While: "true", Graduation: &rules.Graduation{Ratio: float64(ratio) / 100, Steepest: float64(steepest) / 100, Drop: float64(drop)}}
		drawDelays(t, &r, 1500)
		all := drawHeard(t, rapid.IntRange(2, 40).Draw(t, "n"), []int{100, 130, 170, 400, 700}, 1500, func(k int) (float64, float64) {
			if k == 0 {
				return 40, 20
			}
			return float64(rapid.SampledFrom([]int{4, 5, 20, 30, 40, 41, 50}).Draw(t, "ankle")), float64(rapid.IntRange(6, 52).Draw(t, "calf"))
		})
		happened += heldTo(t, r, 600, all, func(k int) sample.Truth {
			if all[k].ankle != all[k].ankle || all[k].calf != all[k].calf {
				return sample.Maybe
			}
			ankle, calf := int(all[k].ankle), int(all[k].calf)
			switch {
			case ankle < 5: // there is nothing to fall from
				return sample.No
			case ratio > 0 && 100*calf > ratio*ankle, drop > 0 && ankle-calf < drop, steepest > 0 && 100*calf < steepest*ankle:
				return sample.Yes
			}
			return sample.No
		})
	})
}

// slots returns the means of what readings fall into equal slots of time, and the
// seconds at which they lie, of the last n slots up to that of now, oldest first.
func slots(at []int, v []float64, now, slot, n int) (xs, ys []float64) {
	for number := now/slot - n + 1; number <= now/slot; number++ {
		x, y, of := 0.0, 0.0, 0.0
		for i := range at {
			if at[i]/slot == number && at[i] <= now && v[i] == v[i] {
				x, y, of = x+float64(at[i])/1000, y+v[i], of+1
			}
		}
		if of > 0 {
			xs, ys = append(xs, x/of), append(ys, y/of)
		}
	}
	return xs, ys
}

// halfway is the median, by counting.
func halfway(all []float64) float64 {
	sorted := slices.Sorted(slices.Values(all))
	if len(sorted) == 0 {
		return math.NaN()
	}
	return (sorted[(len(sorted)-1)/2] + sorted[len(sorted)/2]) / 2
}

// silences adds to the instants of readings those at which one has lasted for as
// long as it may, with nothing known.
func silences(all []heard, stale int) (at []int, ankle []float64) {
	for k, h := range all {
		if k > 0 && all[k-1].at+stale < h.at {
			at, ankle = append(at, all[k-1].at+stale), append(ankle, math.NaN())
		}
		at, ankle = append(at, h.at), append(ankle, h.ankle)
	}
	return at, ankle
}

// The trend of a rate is that of the first instant in each twentieth of its window:
// the median of all slopes between the twentieths' means, of which half must be known.
func TestRateAgainstASlowReference(t *testing.T) {
	happened := 0
	tried.Check(t, tried.Count(&happened, 60), func(t *rapid.T) {
		const stale, slot = 700, 100
		r := rules.Rule{Rate: &rules.Rate{Watch: "ankle.pressure", Per: time.Second, Window: 20 * slot * time.Millisecond}}
		switch rapid.IntRange(0, 2).Draw(t, "asks") {
		case 0:
			r.Rate.Rise = 3.37
		case 1:
			r.Rate.Fall = 3.37
		default:
			r.Rate.Rise, r.Rate.Fall = 2.39, 5.43
		}
		drawDelays(t, &r, 300)
		level, slope := 60.0, 0.0
		all := drawHeard(t, rapid.IntRange(40, 150).Draw(t, "n"), []int{40, 70, 90, 110, 160}, 1300, func(int) (float64, float64) {
			if rapid.IntRange(0, 12).Draw(t, "turn") == 12 {
				slope = rapid.SampledFrom([]float64{-0.9, -0.4, -0.2, 0, 0.2, 0.4, 0.9}).Draw(t, "slope")
			}
			if rapid.IntRange(0, 30).Draw(t, "wild") == 30 {
				return 300, 30
			}
			level = min(150, max(10, level+slope))
			return level, 30
		})
		at, ankle := silences(all, stale)
		happened += heldTo(t, r, stale, all, func(k int) sample.Truth {
			if all[k].ankle != all[k].ankle {
				return sample.Maybe
			}
			i := slices.Index(at, all[k].at)
			for i > 0 && at[i-1]/slot == at[i]/slot { // the first of its twentieth
				i--
			}
			xs, ys := slots(at[:i+1], ankle[:i+1], at[i], slot, 20)
			if len(xs) < 10 {
				return sample.Maybe
			}
			var all []float64
			for i := range xs {
				for k := i + 1; k < len(xs); k++ {
					all = append(all, (ys[k]-ys[i])/(xs[k]-xs[i]))
				}
			}
			trend := halfway(all)
			return sample.Of(r.Rate.Rise > 0 && trend > r.Rate.Rise || r.Rate.Fall > 0 && trend < -r.Rate.Fall)
		})
	})
}
