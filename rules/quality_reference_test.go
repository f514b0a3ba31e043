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

// slowly tells from all scans so far of one source whether any of its three channels
// has a fault, or the source, anew each time and without any memory.
func slowly(of rules.Fault, q *rules.Quality, history []sample.Scan) bool {
	now := &history[len(history)-1]
	for i, raw := range now.Raw {
		known := raw == raw && !slices.Contains(now.Withheld, i)
		v := now.Values[i]
		has := map[rules.Fault]bool{
			rules.Saturated:    known && raw >= now.Rail,
			rules.Uncalibrated: known && raw < now.Rail && v != v,
			rules.Missing:      v != v,
			rules.Extrapolated: now.Extrapolated[i] && v > 5,
			rules.Expired:      now.Expired != nil && now.Expired[i],
			rules.Stuck:        standing(q, history, i, false),
			rules.Open:         standing(q, history, i, true),
		}
		if has[of] {
			return true
		}
	}
	live := fresh(history)
	if len(live) == 0 {
		return false
	}
	if of == rules.Battery {
		for i := len(live) - 1; i >= 0; i-- {
			if percent, known := live[i].Battery.Percent(); known {
				return float64(percent) <= q.Battery
			}
		}
		return false
	}
	// What came in this minute and the one before, if that followed.
	starts := []int{0}
	for i := range live {
		if live[i].At.Sub(live[starts[len(starts)-1]].At) >= time.Minute {
			starts = append(starts, i)
		}
	}
	from := starts[len(starts)-1]
	if n := len(starts); n > 1 && live[from].At.Sub(live[starts[n-2]].At) < 2*time.Minute {
		from = starts[n-2]
	}
	came, lost, least := 0, 0, time.Duration(math.MaxInt64)
	for i := from; i < len(live); i++ {
		came++
		least = min(least, live[i].Arrived.Sub(live[i].At))
		if i > 0 {
			lost += int(live[i].Seq) - int(live[i-1].Seq) - 1
		}
	}
	switch of {
	case rules.Lossy:
		return came+lost >= 10 && float64(lost) > q.Loss*float64(came+lost)
	case rules.Clock:
		return came >= 10 && (least > q.Clock || least < -q.Clock)
	}
	return false
}

// fresh leaves out what was stored.
func fresh(history []sample.Scan) (live []sample.Scan) {
	for _, x := range history {
		if !x.Stored {
			live = append(live, x)
		}
	}
	return live
}

// standing reports whether a channel has stood still, through a whole window some
// time ago and ever since, while half of the others moved, or bore a load.
func standing(q *rules.Quality, history []sample.Scan, channel int, open bool) bool {
	var window []sample.Scan
	found := false
	reading := func(x *sample.Scan, i int) float64 {
		if slices.Contains(x.Withheld, i) {
			return math.NaN()
		}
		return x.Raw[i]
	}
	readings := func(xs []sample.Scan, i int) (raws, values []float64) {
		for k := range xs {
			if raw := reading(&xs[k], i); raw == raw {
				raws = append(raws, raw)
				if v := xs[k].Values[i]; v == v {
					values = append(values, v)
				}
			}
		}
		return raws, values
	}
	last := math.NaN()
	for k := range history {
		x := &history[k]
		if k > 0 && x.At.Sub(history[k-1].At) > 3*time.Second {
			window = nil
		}
		if x.Stored {
			continue
		}
		if len(window) > 0 && x.At.Sub(window[0].At) >= q.Unchanged {
			raws, values := readings(window, channel)
			lowest := math.Inf(1)
			for i := range x.Raw {
				all, _ := readings(fresh(history[:k]), i)
				lowest = slices.Min(append(all, lowest))
			}
			others := 0
			for i := range x.Raw {
				if i == channel {
					continue
				}
				r, v := readings(window, i)
				if len(v) > 0 && (!open && slices.Max(v)-slices.Min(v) >= 5 || open && len(r) > 1 && slices.Min(v) >= 10) {
					others++
				}
			}
			if len(raws) > 1 && slices.Min(raws) == slices.Max(raws) && others >= 1 {
				found = found || !open || raws[0] == lowest && (len(values) == 0 || slices.Max(values) <= 5)
			}
			window = nil
		}
		window = append(window, *x)
		if raw := reading(x, channel); raw == raw {
			if last == last && raw != last {
				found = false
			}
			last = raw
		}
	}
	return found
}

// What a quality rule says of a channel is what all the scans say that have ever
// come, looked through anew.
func TestQualityIsWhatTheScansSay(t *testing.T) {
	for _, of := range rules.Faults {
		if of == rules.Silent || of == rules.Disagrees {
			continue // those have tests of their own
		}
		t.Run(string(of), func(t *testing.T) {
			seen := map[bool]int{}
			outer := t
			tried.Check(t, tried.Each(seen, 1, true, false), func(t *rapid.T) {
				rule := faulty(of)
				rule.OnDelay = 0
				s := newStory(outer, cluster(3, nil, rule))
				var history []sample.Scan
				at, seq := time.Duration(0), uint32(0)
				kinds := []int{rapid.IntRange(0, 3).Draw(t, "a"), rapid.IntRange(0, 3).Draw(t, "b"), rapid.IntRange(0, 3).Draw(t, "c")}
				if rapid.IntRange(0, 3).Draw(t, "kinds") > 0 {
					kinds = []int{0, 1, 2} // one at rest, one still under load, one that moves
				}
				late := rapid.SampledFrom([]float64{0, 0.5, 3, -3}).Draw(t, "late")
				// Small numbers are drawn often. In quiet stories, where they are the
				// usual ones, a channel has time to stand still.
				quiet := rapid.Bool().Draw(t, "quiet")
				for n := range rapid.IntRange(1, 60).Draw(t, "scans") {
					at += rapid.SampledFrom([]time.Duration{1e9, 1e9, 1e9, 1e9, 3e9, 2e9}).Draw(t, "step")
					if rapid.IntRange(0, 40).Draw(t, "hole") == 0 {
						at += rapid.SampledFrom([]time.Duration{5e9, 90e9, 200e9}).Draw(t, "of")
					}
					seq += 1 + uint32(max(0, rapid.IntRange(-8, 3).Draw(t, "lost")))
					x := sample.Scan{
						At: sample.Instant(at), Rail: 4095, Seq: seq, Stored: rapid.IntRange(0, 15).Draw(t, "stored") == 0,
						Arrived: sample.Instant(at).Add(time.Duration(late*1e9) + time.Duration(rapid.IntRange(0, 5).Draw(t, "jitter"))*1e8),
					}
					if told := rapid.IntRange(0, 9).Draw(t, "told"); told < 3 {
						x.Battery = sample.ChargeOf(told * rapid.IntRange(5, 15).Draw(t, "level")) // of a stored scan not to be believed
					}
					for i, kind := range kinds {
						raw := []float64{7, 400, 300 + 200*float64((n+i)%2), 4095}[kind]
						odd := rapid.IntRange(0, 60).Draw(t, "odd")
						if quiet {
							odd = 60 - odd
						}
						switch odd {
						case 0:
							raw++
						case 1:
							raw = sample.Unknown
						case 2:
							x.Withheld = append(x.Withheld, i)
						case 3:
							kinds[i] = rapid.IntRange(0, 3).Draw(t, "kind")
						}
						v := raw / 10
						if raw >= x.Rail || odd == 2 || odd == 4 {
							v = sample.Unknown
						}
						x.Raw, x.Values, x.U, x.Shared = append(x.Raw, raw), append(x.Values, v), append(x.U, 1), append(x.Shared, 0)
						x.Extrapolated = append(x.Extrapolated, odd == 5)
						if odd == 6 {
							x.Expired = make([]bool, 3)
							x.Expired[i] = true
						}
					}
					history = append(history, x)
					s.Scan(&x)
					if rapid.IntRange(0, 20).Draw(t, "restart") == 0 {
						kept := s.SnapshotPlace(0, nil)
						s = newStory(outer, cluster(3, nil, rule))
						if err := s.RestorePlace(0, kept); err != nil {
							t.Fatal(err)
						}
					}
					got, want := s.Progress(0, nil)[0].Condition == sample.Yes, slowly(of, rule.Quality, history)
					if seen[want]++; got != want {
						t.Fatalf("after scan %d at %v: %v, want %v", n, at, got, want)
					}
				}
			})
		})
	}
}
