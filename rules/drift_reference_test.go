package rules_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
)

// A leg tells what is known of a limb from all that was heard of it, looked through
// anew each time.
type slowLeg struct {
	all   []heard
	stale int // ms
}

// still is whether no site has moved within three seconds by more than 2 mmHg or
// 6 %, in steps of half a second; Maybe where these have not been seen whole.
func (l *slowLeg) still(k int) bool {
	known := false
	for _, of := range []func(heard) float64{func(h heard) float64 { return h.ankle }, func(h heard) float64 { return h.calf }} {
		now := of(l.all[k])
		if now != now {
			continue
		}
		known = true
		low, high, first := now, now, l.all[k].at/500
		for back, next := k-1, l.all[k].at/500; back >= 0; back-- {
			v, slot := of(l.all[back]), l.all[back].at/500
			if v != v {
				continue
			}
			if next-slot > 1+l.stale/500 {
				break
			}
			if first, next = slot, slot; slot > l.all[k].at/500-6 {
				low, high = min(low, v), max(high, v)
			}
		}
		if high-low > max(2, 0.06*now) || l.all[k].at/500-first < 5 {
			return false
		}
	}
	return known
}

// levels are the ankle's resting levels at all readings: the median of ten seconds'
// means, of which four are there, within one rest.
func (l *slowLeg) levels() []float64 {
	out := make([]float64, len(l.all))
	for k := range l.all {
		out[k] = math.NaN()
		if !l.still(k) || l.all[k].ankle != l.all[k].ankle {
			continue
		}
		var at []int
		var v []float64
		from := k
		for from > 0 && l.all[from].at-l.all[from-1].at <= l.stale && l.still(from-1) {
			from--
		}
		before := -1
		for i := from; i <= k; i++ {
			if l.all[i].ankle == l.all[i].ankle {
				if i < k {
					before = i
				}
				at, v = append(at, l.all[i].at), append(v, l.all[i].ankle)
			}
		}
		if before == k-1 && out[before] == out[before] && l.all[before].at/1000 == l.all[k].at/1000 {
			out[k] = out[before] // it is taken once a second
		} else if _, means := slots(at, v, l.all[k].at, 1000, 10); len(means) >= 4 {
			out[k] = halfway(means)
		}
	}
	return out
}

// A drift is from the level at which the wrap had been worn, as far as is known, for
// as long as it takes to settle.
func TestDriftAgainstASlowReference(t *testing.T) {
	happened := 0
	tried.Check(t, tried.Count(&happened, 30), func(t *rapid.T) {
		const stale, by = 700, 2.63
		settle := rapid.SampledFrom([]int{6000, 20000}).Draw(t, "settle")
		r := rules.Rule{Drift: &rules.Drift{Site: "ankle", By: by, Settle: time.Duration(settle) * time.Millisecond}}
		drawDelays(t, &r, 600)
		level, slope := 40.0, 0.0
		all := drawHeard(t, rapid.IntRange(120, 300).Draw(t, "n"), []int{180, 230, 250, 310}, 4000, func(k int) (float64, float64) {
			if k%50 == 0 {
				slope = rapid.SampledFrom([]float64{-0.12, 0.12, -0.09, 0.09, 0}).Draw(t, "slope")
			}
			switch rapid.IntRange(0, 60).Draw(t, "moves") {
			case 60:
				level += 9
			case 59:
				level -= 9
			}
			level = min(80, max(10, level+slope))
			return level, 25
		})
		leg := slowLeg{all, stale}
		levels := leg.levels()

		// With each reading and each silence: how long it has been worn.
		at, now, worn := []int(nil), []float64(nil), []int(nil)
		total := 0
		for k, h := range all {
			if k > 0 {
				last := all[k-1]
				lasted := min(h.at-last.at, stale)
				if last.ankle == last.ankle || last.calf == last.calf {
					total += lasted
				}
				if lasted < h.at-last.at {
					at, now, worn = append(at, last.at+stale), append(now, math.NaN()), append(worn, total)
				}
			}
			at, now, worn = append(at, h.at), append(now, levels[k]), append(worn, total)
		}
		settled, part := math.NaN(), settle/20
		away := false
		conditions := map[int]sample.Truth{}
		for i := range at {
			if settled != settled && worn[i] >= settle && (i == 0 || at[i]/part != at[i-1]/part) {
				if _, means := slots(at[:i+1], now[:i+1], at[i], part, 20); len(means) >= 3 {
					settled = halfway(means)
				}
			}
			conditions[at[i]] = sample.Maybe
			if off := math.Abs(now[i] - settled); off == off {
				away = off > by || away && off > 0.8*by
				conditions[at[i]] = sample.Of(away)
			}
		}
		happened += heldTo(t, r, stale, all, func(k int) sample.Truth { return conditions[all[k].at] })
		if !slices.IsSorted(at) {
			t.Fatal("the reference goes back in time")
		}
	})
}
