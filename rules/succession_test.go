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
	"weald/rules/alert"
)

// wholePlan is a bed, a limb and a seat with everything that has a state.
func wholePlan() *rules.Plan {
	plan, more := snapshotPlan(), kindsPlan()
	first := len(plan.Sources)
	more.Sources[0].ID = "c/leg"
	plan.Sources = append(plan.Sources, more.Sources...)
	for _, p := range more.Places {
		p.Sites = slices.Clone(p.Sites)
		for i := range p.Sites {
			p.Sites[i].Channels = slices.Clone(p.Sites[i].Channels)
			for k := range p.Sites[i].Channels {
				p.Sites[i].Channels[k].Source += first
			}
		}
		plan.Places = append(plan.Places, p)
	}
	for i := range plan.Rules {
		plan.Rules[i].At = rules.Where{Kind: rules.Bed}
	}
	for i := range more.Rules {
		more.Rules[i].At = rules.Where{Place: "bench-1"}
		if more.Rules[i].Relief != nil {
			more.Rules[i].At = rules.Where{Kind: rules.Seat}
		}
	}
	plan.Rules = append(plan.Rules, more.Rules...)
	return plan
}

// edited draws another plan: sources, places and rules in another order and with new
// ones, some places and rules gone, some rules changed. It says which alerts, as
// place~rule, are judged as before.
func edited(t *rapid.T) (plan *rules.Plan, same func(place, rule string) bool) {
	plan = wholePlan()
	// A dose is a sum, and in how many pieces it is added up depends on when other rules
	// are due: it is the same but for rounding, which may decide between two instants.
	other := map[string]bool{"new": true, "c": true}
	kept := plan.Rules[:0]
	for _, r := range plan.Rules {
		switch rapid.SampledFrom([]string{"stays", "stays", "stays", "goes", "changes"}).Draw(t, "rule "+r.ID) {
		case "goes":
			other[r.ID] = true
			continue
		case "changes":
			other[r.ID] = true
			r.OnDelay += time.Second
		default:
			r.Priority, r.Latched = alert.High, true // which changes no judgement
		}
		kept = append(kept, r)
	}
	plan.Rules = append(kept, rules.Rule{ID: "new", At: rules.Where{Kind: rules.Bed}, Limit: &rules.Limit{Watch: "mat.peak", Above: ptr(30)}, ForgetAfter: time.Minute, Priority: alert.Low})
	plan.Rules = rapid.Permutation(plan.Rules).Draw(t, "rules")
	if rapid.Bool().Draw(t, "a place goes") {
		i := rapid.IntRange(0, len(plan.Places)-1).Draw(t, "which")
		other["at "+plan.Places[i].ID] = true
		gone := plan.Places[i]
		plan.Places = slices.Delete(plan.Places, i, i+1)
		plan.Rules = slices.DeleteFunc(plan.Rules, func(r rules.Rule) bool { return r.At.Place == gone.ID || r.At.Kind == gone.Kind })
	}
	plan.Sources = append(plan.Sources, rules.Source{ID: "d/new", Channels: 1, StaleAfter: time.Second, Calibrated: true})
	plan.Places = append(plan.Places, rules.Place{ID: "new-1", Kind: rules.Wrap, Sites: []rules.Site{{ID: "ankle", Channels: []rules.Channel{{Source: len(plan.Sources) - 1}}}}})
	plan.Places = rapid.Permutation(plan.Places).Draw(t, "places")
	order := rapid.Permutation([]int{0, 1, 2, 3, 4}).Draw(t, "sources")
	at := make([]int, len(order)) // where each is now
	sources := make([]rules.Source, len(order))
	for is, was := range order {
		at[was], sources[is] = is, plan.Sources[was]
	}
	plan.Sources = sources
	for i := range plan.Places {
		p := &plan.Places[i]
		if p.Mat != nil {
			mat := *p.Mat
			mat.Source = at[mat.Source]
			p.Mat = &mat
		}
		for k := range p.Sites {
			for c := range p.Sites[k].Channels {
				p.Sites[k].Channels[c].Source = at[p.Sites[k].Channels[c].Source]
			}
		}
	}
	return plan, func(place, rule string) bool { return !other[rule] && !other["at "+place] }
}

// A feeder feeds the same random scans, by the ids of their sources, to engines of several
// plans.
type feeder struct {
	at time.Duration
}

func (w *feeder) step(t *rapid.T, to ...*story) {
	w.at += time.Duration(rapid.SampledFrom([]int{0, 100, 500, 900, 2600}).Draw(t, "later")) * time.Millisecond
	source := rapid.SampledFrom([]string{"hub/mat", "a/leg", "b/leg", "c/leg", "c/leg"}).Draw(t, "source")
	// A place waits 200 ms for what is on its way when any of its rules is due, so that
	// other rules decide about what comes later.
	late := time.Duration(rapid.IntRange(0, 199).Draw(t, "delay")) * time.Millisecond
	values := make([]float64, map[string]int{"hub/mat": 4, "a/leg": 1, "b/leg": 1, "c/leg": 4}[source])
	base := float64(rapid.SampledFrom([]int{0, 31, 34, 36, 40}).Draw(t, "base"))
	for i := range values {
		if values[i] = base + float64(rapid.IntRange(0, 3).Draw(t, "v")); rapid.IntRange(0, 20).Draw(t, "lost") == 0 {
			values[i] = math.NaN()
		}
	}
	tick := rapid.Bool().Draw(t, "tick")
	for _, e := range to {
		if tick {
			e.Tick(sample.Instant(w.at))
		}
		i := slices.IndexFunc(e.plan.Sources, func(s rules.Source) bool { return s.ID == source })
		e.Scan(&sample.Scan{Source: i, At: sample.Instant(w.at - late), Arrived: sample.Instant(w.at), Values: slices.Clone(values)})
	}
}

// of returns what was told of the alerts that a test asks for, by their ids.
func (s *story) of(same func(place, rule string) bool) map[string]string {
	all := map[string]string{}
	for i, line := range s.lines {
		id := line[strings.LastIndex(line, " ")+1:]
		k, ok := alert.ParseKey(id)
		if ok && same(k.Place, k.Rule) {
			all[id] += line + ": " + s.texts[i] + "\n"
		}
	}
	return all
}

// An engine with another plan, which takes over from one, goes on with all rules that
// are the same at places that are the same as if the plan had never changed.
func TestUnchangedRulesGoOnInAnotherPlan(t *testing.T) {
	changes := map[string]int{}
	tried.Check(t, tried.Each(changes, 20, "bed-4", "bench-1"), func(t *rapid.T) {
		before := wholePlan()
		after, same := edited(t)
		for _, plan := range []*rules.Plan{before, after} {
			if found := plan.Check(); len(found) > 0 {
				t.Fatal(found)
			}
		}
		straight, next := &story{plan: before}, &story{plan: after}
		straight.Engine, next.Engine = rules.NewEngine(before, straight), rules.NewEngine(after, next)
		w := &feeder{}
		for range rapid.IntRange(0, 60).Draw(t, "before") {
			w.step(t, straight)
		}
		var stood, listed []string
		for i := range before.Places {
			state := straight.SnapshotPlace(i, nil)
			for _, s := range straight.Standing(i, nil) {
				stood = append(stood, s.ID())
			}
			for _, k := range rules.Stood(before.Places[i].ID, state) {
				listed = append(listed, k.ID())
			}
			k := slices.IndexFunc(after.Places, func(p rules.Place) bool { return p.ID == before.Places[i].ID })
			if k < 0 {
				continue
			}
			if err := next.RestorePlace(k, state); err != nil {
				t.Fatal(err)
			}
		}
		for _, id := range stood {
			if !slices.Contains(listed, id) {
				t.Fatalf("%s stood, and the snapshot lists %v", id, listed)
			}
		}
		straight.lines, straight.texts = nil, nil
		for range rapid.IntRange(1, 60).Draw(t, "after") {
			w.step(t, straight, next)
		}
		straight.Finish()
		next.Finish()
		got, want := next.of(same), straight.of(same)
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("with another plan:\n%v\nwith the former one:\n%v", got, want)
		}
		for id, lines := range want {
			changes[strings.Split(id, "~")[0]] += strings.Count(lines, "\n")
		}
	})
}

// What an engine does not go on with ends, and says why; what it goes on with does not.
func TestAlertsEndWithTheirRulesAndPlaces(t *testing.T) {
	plan := bed(1, 2, above("mat.peak", 32, 0), above("back.peak", 32, 0), above("heels.peak", 32, 0))
	plan.Rules[1].ID, plan.Rules[2].ID = "gone", "stays"
	first := newStory(t, plan)
	first.scan(0, 0, 40, 40)
	state := first.SnapshotPlace(0, nil)
	told := func(rule, subject string, state alert.State) *alert.Event {
		return &alert.Event{Key: alert.Key{Place: "bed-4", Rule: rule, Subject: subject}, What: alert.Raised, State: state, Stands: state != alert.Shelved, Priority: alert.Medium}
	}
	minute := sample.Instant(time.Minute)

	smaller := bed(1, 2, above("mat.peak", 50, 0), above("heels.peak", 32, 0))
	smaller.Rules[1].ID = "stays"
	second := newStory(t, smaller)
	if err := second.RestorePlace(0, state); err != nil {
		t.Fatal(err)
	}
	second.scan(0, time.Second, 40, 40)
	second.expect(t, "0s cleared bed-4~tight~mat")
	if !strings.Contains(second.texts[0], "the rule has been changed and judges anew") {
		t.Errorf("it says %q", second.texts[0])
	}
	if e, ends := second.Ends(told("stays", "heels", alert.Unacknowledged), minute); ends {
		t.Errorf("what goes on ends: %+v", e)
	}
	second.scan(0, time.Minute, 40, 40)
	e, ends := second.Ends(told("gone", "back", alert.Acknowledged), minute)
	if want := "the rule has been removed from the configuration; the alert stood for 1 min"; !ends || e.What != alert.Cleared || e.At != minute || e.State != alert.Normal || e.Held != time.Minute || e.Text != want {
		t.Errorf("%t %+v", ends, e)
	}
	if e, ends := second.Ends(told("gone", "back", alert.Shelved), minute); !ends || e.What != alert.WasUnshelved || e.Text != "the rule has been removed from the configuration" {
		t.Errorf("%t %+v", ends, e)
	}
	// Shown on, it would ask for an acknowledgement that nobody can give any more.
	if e, ends := second.Ends(told("gone", "back", alert.Returned), minute); !ends || e.What != alert.Cleared || e.State != alert.Normal {
		t.Errorf("what nobody acknowledged goes on: %+v", e)
	}
	if e, ends := second.Ends(told("gone", "back", alert.Normal), minute); ends {
		t.Errorf("what is done with ends once more: %+v", e)
	}

	elsewhere := bed(1, 2, above("mat.peak", 32, 0))
	elsewhere.Places[0].ID = "bed-5"
	third := newStory(t, elsewhere)
	if e, ends := third.Ends(told("tight", "mat", alert.Unacknowledged), minute); !ends || !strings.HasPrefix(e.Text, "bed-4 has been removed from the configuration") {
		t.Errorf("%t %+v", ends, e)
	}
	other := newStory(t, bed(2, 1, above("mat.peak", 32, 0))) // another mat: nothing could be taken up
	if e, ends := other.Ends(told("tight", "mat", alert.Unacknowledged), minute); !ends || !strings.HasPrefix(e.Text, "bed-4 has been changed and is judged anew") {
		t.Errorf("%t %+v", ends, e)
	}
}
