package notify

import (
	"fmt"
	"slices"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/record"
)

// midnight is when invented histories begin: a Sunday.
var midnight = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)

func minute(m int) sample.Instant { return sample.At(midnight.Add(time.Duration(m) * time.Minute)) }

// A happening is a change of an alert, at the start of a minute.
type happening struct {
	minute int
	event  alert.Event
}

// drawHistory makes up what happens to a few alerts in a number of minutes, by the
// lives that the engine gives them.
func drawHistory(t *rapid.T, minutes int) (out []happening) {
	for k := range rapid.IntRange(1, 3).Draw(t, "alerts") {
		base := alert.Event{Key: alert.Key{Place: fmt.Sprintf("bed-%d", k), Rule: "turn-due", Subject: "bed"},
			Priority: alert.Priority(rapid.IntRange(1, 3).Draw(t, "priority")), Text: "not turned for 2 h"}
		spec := alert.Spec{Latched: rapid.Bool().Draw(t, "latched"),
			EscalateAfter: time.Duration(rapid.SampledFrom([]int{0, 5, 30}).Draw(t, "escalate")) * time.Minute}
		var life alert.Life
		holds := false
		for m := 0; m < minutes; m += rapid.SampledFrom([]int{1, 1, 3, 10, 60, 300}).Draw(t, "later") {
			var events []alert.Event
			for life.Next(&spec) <= minute(m) {
				events = life.Tick(&spec, base, minute(m), events)
			}
			e := base
			e.At = minute(m)
			switch what := rapid.IntRange(0, 6).Draw(t, "what"); what {
			case 0, 1, 2:
				if holds = !holds; holds {
					e.What = alert.Raised
				} else {
					e.What = alert.Cleared
				}
				events = life.Hold(&spec, e, events)
			case 3:
				events = life.Suppress(&spec, e, !life.Suppressed, e.At, events)
			default:
				a := alert.Action{Verb: rapid.SampledFrom(alert.Verbs()).Draw(t, "verb"), At: e.At, Who: "K-07", Why: "bath"}
				if a.Verb == alert.Shelve {
					a.Until = e.At.Add(30 * time.Minute)
				}
				if done, err := life.Act(&spec, e, &a, events); err == nil {
					events = done
				}
			}
			for _, e := range events {
				out = append(out, happening{m, e})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b happening) int { return a.minute - b.minute })
	return out
}

func drawSpecs(t *rapid.T) (out []Spec) {
	clock := func(name string) time.Duration {
		return time.Duration(rapid.SampledFrom([]int{0, 7 * 60, 21 * 60, 12*60 + 30}).Draw(t, name)) * time.Minute
	}
	for i := range rapid.IntRange(1, 3).Draw(t, "senders") {
		s := Spec{ID: fmt.Sprintf("s%d", i), FollowUps: rapid.Bool().Draw(t, "follow-ups"), TestAt: -1,
			GiveUp: time.Duration(rapid.SampledFrom([]int{5, 600}).Draw(t, "give up")) * time.Minute, Most: rapid.SampledFrom([]int{2, 1000}).Draw(t, "most")}
		if rapid.Bool().Draw(t, "some") {
			s.Priorities = []alert.Priority{alert.High, alert.Low}
		}
		if rapid.IntRange(0, 3).Draw(t, "places") == 0 {
			s.Places = []string{"bed-0", "bed-2"}
		}
		for range rapid.IntRange(0, 2).Draw(t, "windows") {
			w := Window{From: clock("from"), To: clock("to")}
			if rapid.Bool().Draw(t, "tiers") {
				w.Tiers = []int{rapid.IntRange(1, 3).Draw(t, "tier")}
			}
			if rapid.Bool().Draw(t, "days") {
				w.Days = []time.Weekday{time.Sunday, time.Tuesday}
			}
			s.Windows = append(s.Windows, w)
		}
		if rapid.Bool().Draw(t, "tested") {
			s.TestAt = 8 * time.Hour
		}
		out = append(out, s)
	}
	return out
}

// entryOf is a change in the record.
func entryOf(p record.Position, e alert.Event) record.Entry {
	return record.Entry{Position: p, At: e.At, Written: e.At, Place: e.Place, Body: record.Transition{Event: e}}
}
