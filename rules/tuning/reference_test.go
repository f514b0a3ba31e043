package tuning_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules/alert"
	"weald/rules/tuning"
)

// A stand is one raise of one alert, in seconds; cleared is -1 while it stands.
type stand struct {
	who             int
	raised, cleared int
}

// slow counts second by second what Compute finds in one go: how many are raised in
// each period and in the last ten minutes, who is raised often, who stands for long.
// It shares no code with it.
func slow(stands []stand, alerts, places, from, to int) (f tuning.Figures) {
	at := func(second int) (n int) {
		for _, s := range stands {
			if s.raised == second && s.raised >= from {
				n++
			}
		}
		return n
	}
	within, flooded := 0, 0
	flood := false
	for now := from; now <= to; now++ {
		if gone := at(now - 600); gone > 0 {
			if within -= gone; within < 5 {
				flood = false
			}
		}
		if within += at(now); within > 10 && !flood {
			flood = true
			f.Floods++
		}
		if flood && now < to {
			flooded++
		}
	}
	f.FloodShare = float64(flooded) / float64(to-from)
	periods, busy := 0, 0
	for p := from; p < to; p += 600 {
		periods++
		n := 0
		for s := p; s < p+600; s++ {
			n += at(s)
		}
		if n > 10 {
			busy++
		}
	}
	f.BusyShare = float64(busy) / float64(periods)
	for who := range alerts {
		var raises []int
		long := false
		for _, s := range stands {
			if s.who != who {
				continue
			}
			raises = append(raises, s.raised)
			end := s.cleared
			if end < 0 {
				end = to
				f.Standing++
			} else if end >= from {
				f.Cleared++
			}
			long = long || end-s.raised > 24*3600
			if s.raised >= from {
				f.Raised++
			}
		}
		if long {
			f.StandingLong++
		}
		many := func(n, span int) bool {
			return slices.ContainsFunc(raises, func(last int) bool {
				within := 0
				for _, r := range raises {
					if r <= last && last-r <= span {
						within++
					}
				}
				return last >= from && within >= n
			})
		}
		if many(4, 600) {
			f.Chattering = append(f.Chattering, fmt.Sprint(who))
		}
		if many(3, 60) {
			f.InAMinute = append(f.InAMinute, fmt.Sprint(who))
		}
	}
	f.PerPlaceHour = float64(f.Raised) / float64(places) / (float64(to-from) / 3600)
	return f
}

func TestFiguresAgainstASlowCount(t *testing.T) {
	floods, chattering, busy, minute := 0, 0, 0, 0
	enough := tried.All(tried.Count(&floods, 5), tried.Count(&chattering, 5), tried.Count(&busy, 5), tried.Count(&minute, 5))
	tried.Check(t, enough, func(t *rapid.T) {
		alerts := rapid.IntRange(1, 12).Draw(t, "alerts")
		var stands []stand
		var events []alert.Event
		open := map[int]int{} // by alert: its stand
		now := 0
		steps := rapid.SampledFrom([][]int{{1, 5, 20}, {1, 5, 20, 30, 60, 300}, {20, 30, 60, 120, 599, 600, 601}, {1, 60, 7200, 86399, 86400, 86401}}).Draw(t, "pace")
		least := rapid.SampledFrom([]int{0, 30, 50}).Draw(t, "at least") // small numbers are drawn often, and few raises are no flood
		for range rapid.IntRange(least, 60).Draw(t, "n") {
			if now > 200_000 {
				break // the slow count goes through every second
			}
			now += rapid.SampledFrom(steps).Draw(t, "later")
			who := rapid.IntRange(0, alerts-1).Draw(t, "who")
			what := alert.Raised
			if i, ok := open[who]; ok {
				what = alert.Cleared
				stands[i].cleared = now
				delete(open, who)
			} else {
				open[who] = len(stands)
				stands = append(stands, stand{who, now, -1})
			}
			events = append(events, event(what, time.Duration(now)*time.Second, fmt.Sprint(who)))
		}
		from := rapid.IntRange(0, now/2).Draw(t, "from")
		to := now + rapid.IntRange(1, 2000).Draw(t, "to")
		places := rapid.IntRange(1, 5).Draw(t, "places")
		second := func(s int) sample.Instant { return sample.Instant(s) * sample.Instant(time.Second) }
		got, want := tuning.Compute(events, places, second(from), second(to)), slow(stands, alerts, places, from, to)
		if got.Raised != want.Raised || got.Cleared != want.Cleared || got.Standing != want.Standing || got.StandingLong != want.StandingLong || got.Floods != want.Floods || got.Told != want.Raised {
			t.Fatalf("from %d to %d of %+v:\n%+v\nwant:\n%+v", from, to, stands, got, want)
		}
		for what, d := range map[string]float64{"busy": got.BusyShare - want.BusyShare, "floods": got.FloodShare - want.FloodShare, "rate": got.PerPlaceHour - want.PerPlaceHour} {
			if !(math.Abs(d) < 1e-9) {
				t.Fatalf("%s is off by %v, from %d to %d of %+v", what, d, from, to, stands)
			}
		}
		for _, l := range []struct{ got, want []string }{{got.Chattering, want.Chattering}, {got.InAMinute, want.InAMinute}} {
			a, b := make([]string, 0, 4), slices.Sorted(slices.Values(l.want))
			for _, id := range l.got {
				k, _ := alert.ParseKey(id)
				a = append(a, k.Subject)
			}
			if slices.Sort(a); !slices.Equal(a, b) {
				t.Fatalf("%v raised often, want %v, from %d to %d of %+v", a, b, from, to, stands)
			}
		}
		floods, chattering, minute = floods+got.Floods, chattering+len(got.Chattering), minute+len(got.InAMinute)
		if got.BusyShare > 0 {
			busy++
		}
	})
}

// Figures of a day are the same on any day, and an event at its first instant counts.
func TestFiguresOfAnyDay(t *testing.T) {
	for _, day := range []time.Duration{0, 24 * time.Hour, 20000 * 24 * time.Hour} {
		events := []alert.Event{event(alert.Raised, day, "a"), event(alert.Cleared, day+time.Minute, "a"), event(alert.Raised, day+24*time.Hour-1, "b")}
		f := tuning.Compute(events, 4, sample.Instant(day), sample.Instant(day+24*time.Hour))
		if f.Raised != 2 || f.Cleared != 1 || f.Standing != 1 || f.PerPlaceHour != 2.0/96 || f.BusyShare != 0 || f.Floods != 0 {
			t.Errorf("on day %v: %+v", day, f)
		}
	}
}
