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
)

// Of what happens at several places only the order at each of them matters: however
// their inputs come between each other, every place tells and shows the same.
func TestPlacesHaveATimeOfTheirOwn(t *testing.T) {
	told := 0
	fewUntil(t, 10, tried.Count(&told, 50), func(t *rapid.T) {
		plan := wholePlan()
		type input func(*rules.Engine)
		inputs := make([][]input, len(plan.Places))
		for place := range plan.Places {
			now := sample.Instant(0)
			for range rapid.IntRange(10, 25).Draw(t, "n") {
				now = now.Add(ms(rapid.SampledFrom([]int{100, 500, 900, 2600}).Draw(t, "later")))
				source := 3
				if place == 0 {
					source = rapid.IntRange(0, 2).Draw(t, "source")
				}
				x := sample.Scan{Source: source, At: now, Arrived: now}
				base := rapid.SampledFrom([]float64{0, 31, 35, 40}).Draw(t, "base")
				for i := range plan.Sources[source].Channels {
					x.Values = append(x.Values, base+float64(i%3))
				}
				inputs[place] = append(inputs[place], func(e *rules.Engine) {
					e.TickPlace(place, x.Arrived)
					e.ScanPlace(place, &x)
				})
			}
		}
		var runs [2]string
		for run := range runs {
			e, sink := engineOf(plan)
			at := make([]int, len(inputs))
			for {
				var open []int
				for place := range inputs {
					if at[place] < len(inputs[place]) {
						open = append(open, place)
					}
				}
				if len(open) == 0 {
					break
				}
				next := open[0] // one after the other, or as it comes
				if run > 0 {
					next = rapid.SampledFrom(open).Draw(t, "next")
				}
				inputs[next][at[next]](e)
				at[next]++
			}
			e.Finish()
			slices.SortStableFunc(sink.events, func(a, b event) int { return compare(a.Place, b.Place) })
			told += len(sink.events)
			runs[run] = fmt.Sprintln(sink.events)
			for place := range e.Places() {
				runs[run] += fmt.Sprintln(e.Signals(place), e.Progress(place, nil))
			}
		}
		if runs[0] != runs[1] {
			t.Fatalf("one after the other:\n%s\nas it comes:\n%s", runs[0], runs[1])
		}
	})
}

// Two sources of one site deliver with delays that change by the scan, each in its own
// order. As long as no delay reaches the 200 ms that a scan waits for the other source,
// everything happens as if there were none, and nothing is late.
func TestDelaysBelowTheWaitDoNotMatter(t *testing.T) {
	changes := 0
	tried.Check(t, tried.Count(&changes, 40), func(t *rapid.T) {
		r := above("ankle.pressure", 32, ms(rapid.IntRange(0, 500).Draw(t, "on")))
		r.OffDelay = ms(rapid.IntRange(0, 500).Draw(t, "off"))
		straight, delayed := begun(wrapOfTwoSources(r)), begun(wrapOfTwoSources(r))
		var scans []sample.Scan
		for source := range 2 {
			at := sample.Instant(ms(source)) // what is of one instant is taken as it comes, so nothing is
			arrived := at
			for n := range rapid.IntRange(10, 30).Draw(t, "n") {
				if n > 0 {
					at = at.Add(ms(2 * rapid.IntRange(1, 200).Draw(t, "step")))
					arrived = max(arrived, at.Add(ms(rapid.IntRange(0, 199).Draw(t, "delay"))))
				}
				v := float64(rapid.IntRange(28, 36).Draw(t, "v"))
				scans = append(scans, sample.Scan{Source: source, At: at, Arrived: arrived, Values: []float64{v}})
			}
		}
		slices.SortStableFunc(scans, func(a, b sample.Scan) int { return compare(a.At, b.At) })
		for _, x := range scans {
			x.Arrived = x.At
			straight.Scan(&x)
		}
		slices.SortStableFunc(scans, func(a, b sample.Scan) int { return compare(a.Arrived, b.Arrived) })
		for i := range scans {
			for next := delayed.Next(); next <= scans[i].Arrived; next = delayed.Next() {
				delayed.Tick(next)
			}
			delayed.Scan(&scans[i])
		}
		straight.Finish()
		delayed.Finish()
		if delayed.late > 0 || delayed.all() != straight.all() {
			var list []string
			for _, x := range scans {
				list = append(list, fmt.Sprintf("%d: %v at %v", x.Source, time.Duration(x.At), time.Duration(x.Arrived)))
			}
			t.Fatalf("with delays, %d late:\n%s\nwithout:\n%s\n%q", delayed.late, delayed.all(), straight.all(), list)
		}
		changes += len(straight.lines)
	})
}

// Which number a channel has, and in which order the configuration has the sites of a
// limb whose heights are known, is all the same.
func TestNumbersOfChannelsDoNotMatter(t *testing.T) {
	changes := 0
	fewUntil(t, 12, tried.Count(&changes, 40), func(t *rapid.T) {
		plan, other := kindsPlan(), kindsPlan()
		to := rapid.Permutation([]int{0, 1, 2, 3}).Draw(t, "to") // the channel that each becomes
		for i := range other.Places {
			p := &other.Places[i]
			p.Sites = slices.Clone(p.Sites)
			for k := range p.Sites {
				p.Sites[k].Channels = []rules.Channel{{Index: to[p.Sites[k].Channels[0].Index]}}
			}
		}
		wrap := &other.Places[0] // of a seat the order says which alert is told first
		wrap.Sites = rapid.Permutation(wrap.Sites).Draw(t, "sites")
		straight, renumbered := begun(plan), begun(other)
		now := time.Duration(0)
		for range rapid.IntRange(15, 50).Draw(t, "n") {
			now += ms(rapid.SampledFrom([]int{100, 100, 500, 1000, 2600}).Draw(t, "later"))
			values, moved := make([]float64, 4), make([]float64, 4)
			base := rapid.SampledFrom([]float64{0, 31, 34, 36, 40}).Draw(t, "base")
			for i := range values {
				values[i] = base + float64(rapid.IntRange(0, 3).Draw(t, "v"))
				if rapid.IntRange(0, 20).Draw(t, "lost") == 0 {
					values[i] = math.NaN()
				}
				moved[to[i]] = values[i]
			}
			straight.scan(0, now, values...)
			renumbered.scan(0, now, moved...)
		}
		a, b := slices.Sorted(slices.Values(straight.lines)), slices.Sorted(slices.Values(renumbered.lines))
		if !slices.Equal(a, b) {
			t.Fatalf("with other numbers %v:\n%q\nwithout:\n%q", to, b, a)
		}
		for _, sig := range straight.Signals(0) {
			got := renumbered.signalOf(0, sig.Name)
			if fmt.Sprint(got) != fmt.Sprint(sig) {
				t.Fatalf("%+v, with other numbers %+v", sig, got)
			}
		}
		changes += len(a)
	})
}

// The same inputs on another day are the same there, of every kind of rule: trends and
// rests are reckoned in slots of which a day has a whole number.
func TestAnotherDayIsTheSame(t *testing.T) {
	changes := 0
	fewUntil(t, 8, tried.Count(&changes, 40), func(t *rapid.T) {
		plan, now := everyKind(), sample.Instant(0)
		a, first := engineOf(plan)
		b, second := engineOf(plan)
		days := time.Duration(rapid.IntRange(-40000, 40000).Draw(t, "days")) * 24 * time.Hour
		for range rapid.IntRange(15, 40).Draw(t, "inputs") {
			give := drawInput(t, plan, &now)
			give(a, 0)
			give(b, days)
		}
		a.Finish()
		b.Finish()
		for i := range second.events {
			e := &second.events[i]
			if e.At = e.At.Add(-days); e.Until != 0 {
				e.Until = e.Until.Add(-days)
			}
		}
		if x, y := fmt.Sprint(first.events), fmt.Sprint(second.events); x != y {
			t.Fatalf("%v later:\n%s\nwant:\n%s", days, y, x)
		}
		changes += len(first.events)
	})
}

// A scan that is given twice is as good as once to all that judges what is so now: only
// trends take it for two readings, and who counts frames.
func TestAScanTwiceIsOnce(t *testing.T) {
	changes := 0
	fewUntil(t, 12, tried.Count(&changes, 40), func(t *rapid.T) {
		plan := kindsPlan()
		plan.Rules = slices.DeleteFunc(plan.Rules, func(r rules.Rule) bool { return r.Rate != nil || r.Drift != nil || r.Swing != nil || r.Relief != nil })
		once, twice, now := begun(plan), begun(plan), time.Duration(0)
		for range rapid.IntRange(20, 60).Draw(t, "n") {
			now += ms(rapid.SampledFrom([]int{100, 500, 1000, 2600}).Draw(t, "later"))
			base := rapid.SampledFrom([]float64{0, 31, 34, 36, 40}).Draw(t, "base")
			values := []float64{base + 1, base, base + 2, base}
			once.scan(0, now, values...)
			for range rapid.IntRange(1, 3).Draw(t, "times") {
				twice.scan(0, now, values...)
			}
		}
		if twice.late > 0 || once.all() != twice.all() {
			t.Fatalf("several times, %d late:\n%s\nonce:\n%s", twice.late, twice.all(), once.all())
		}
		changes += len(once.lines)
	})
}
