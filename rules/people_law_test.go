package rules_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
	"weald/rules/alert"
)

// does has somebody do what can be done with one of the alerts that are not normal, if there is
// one, and returns how much was done.
func does(t *rapid.T, e *rules.Engine, now sample.Instant) (done int) {
	var all []alert.Key
	for place := range e.Places() {
		for _, s := range e.Standing(place, nil) {
			all = append(all, s.Key)
		}
	}
	if len(all) == 0 {
		return 0
	}
	k := all[rapid.IntRange(0, 999).Draw(t, "alert")%len(all)]
	from := rapid.IntRange(0, 99).Draw(t, "verb")
	for i := range alert.Verbs() {
		a := alert.Action{Verb: alert.Verbs()[(from+i)%5], At: now, Who: "K-07", Why: "bath", Until: now.Add(7 * time.Second)}
		for place := range e.Places() {
			may := e.Permits(place, k, a)
			if did := e.Act(place, k, a); (did == nil) != (may == nil) {
				t.Fatalf("%+v of %v is %v, and would be %v", a, k, did, may)
			} else if did == nil {
				return 1
			}
		}
	}
	t.Fatalf("nothing can be done with %v", k)
	return 0
}

// Whatever people do with alerts, they do not touch what is measured: every hold stands
// where it would if nobody had come, is raised and cleared at the same instants, and the
// same values are shown.
func TestPeopleNeverStopMeasuring(t *testing.T) {
	acted, raised := 0, 0
	fewUntil(t, 6, tried.All(tried.Count(&acted, 20), tried.Count(&raised, 30)), func(t *rapid.T) {
		plan, now := everyKind(), sample.Instant(0)
		alone, tended := begun(plan), begun(plan)
		for range 40 {
			give := drawInput(t, plan, &now)
			before := alone.all()
			give(alone.Engine, 0)
			give(tended.Engine, 0)
			if before == alone.all() && rapid.Bool().Draw(t, "somebody comes") {
				acted += does(t, tended.Engine, now)
			}
		}
		now = now.Add(4 * time.Second)
		for source := range plan.Sources { // and at the end both have come to the same instant
			v := rapid.SampledFrom([]float64{0, 33, 38, 41}).Draw(t, "last")
			alone.scan(source, time.Duration(now), repeat(v, plan.Sources[source].Channels)...)
			tended.scan(source, time.Duration(now), repeat(v, plan.Sources[source].Channels)...)
		}
		alone.Finish()
		tended.Finish()
		for place := range plan.Places {
			a, b := alone.Progress(place, nil), tended.Progress(place, nil)
			for i := range a {
				is := func(p *rules.Progress) string { return fmt.Sprint(p.Condition, p.Held, p.Raised, p.Unknown, p.Asks) }
				if is(&a[i]) != is(&b[i]) {
					t.Fatalf("with people: %+v\nwithout: %+v", b[i], a[i])
				}
				all := func(k alert.Key) bool { return k == a[i].Key }
				if x, y := alone.spans(all), tended.spans(all); !slices.Equal(x, y) {
					t.Fatalf("%v with people %q, without %q", a[i].Key, y, x)
				}
			}
			if x, y := fmt.Sprint(alone.Signals(place)), fmt.Sprint(tended.Signals(place)); x != y {
				t.Fatalf("with people:\n%s\nwithout:\n%s", y, x)
			}
		}
		raised += len(alone.happened())
	})
}

// leads are the states that a change can lead to, by section 7 of the semantics. Where an
// alert is put aside in several ways, it stays so when one of them ends.
var leads = map[alert.Change][]alert.State{
	alert.Raised:          {alert.Unacknowledged, alert.Shelved, alert.Suppressed, alert.OutOfService},
	alert.Cleared:         {alert.Normal, alert.Returned, alert.Latched, alert.Shelved, alert.Suppressed, alert.OutOfService},
	alert.WasAcknowledged: {alert.Acknowledged, alert.Normal},
	alert.WasShelved:      {alert.Shelved, alert.Suppressed},
	alert.WentOut:         {alert.OutOfService},
	alert.WasSuppressed:   {alert.Suppressed, alert.OutOfService},
	alert.Escalated:       {alert.Unacknowledged, alert.Latched},
}

// The life of every alert that is told can be followed by what was told: raises and clears
// take turns, its state is the last one that was told, a change leads to a state that it
// can lead to, who is called is called in the order of tiers, and an alert that stands
// is at hand until it is over.
func TestLivesCanBeFollowed(t *testing.T) {
	seen := map[alert.Change]int{}
	enough := tried.Each(seen, 1, alert.Raised, alert.Cleared, alert.Unknown, alert.WasAcknowledged, alert.WasShelved, alert.Ended, alert.WentOut, alert.CameBack, alert.Escalated)
	fewUntil(t, 15, enough, func(t *rapid.T) {
		plan, now := everyKind(), sample.Instant(0)
		e, sink := engineOf(plan)
		for range 50 {
			drawInput(t, plan, &now)(e, 0)
			does(t, e, now)
		}
		e.Finish()
		last := map[alert.Key]alert.Event{}
		holds := map[alert.Key]bool{}
		for _, ev := range sink.events {
			was := last[ev.Key]
			bad := func(what string) { t.Fatalf("%s: %+v after %+v", what, ev, was) }
			seen[ev.What]++
			switch {
			case ev.What == alert.Raised && holds[ev.Key], ev.What == alert.Cleared && !holds[ev.Key]:
				bad("raised or cleared twice")
			case ev.Text == "" || !ev.State.Valid():
				bad("says nothing")
			case ev.Stands != holds[ev.Key] && ev.What != alert.Raised && ev.What != alert.Cleared && !was.Chattering:
				bad("stands without being raised, or the other way round")
			case ev.State.Aside() && ev.Tier != 0, ev.Tier > alert.MostTiers, ev.What == alert.Escalated && ev.Tier != was.Tier+1:
				bad("calls the wrong people")
			case (ev.State == alert.Shelved || ev.State == alert.OutOfService) && (ev.Who == "" || ev.Why == ""):
				bad("put aside, and nobody says by whom and why")
			case ev.Held < 0:
				bad("held for less than nothing")
			case ev.What == alert.Unknown && !ev.Stands:
				bad("the signal of what is not raised is lost")
			}
			if to, ok := leads[ev.What]; ok {
				can := false
				for _, s := range to {
					can = can || s == ev.State || ev.Quiet || was.Chattering
				}
				if !can {
					bad("leads to an impossible state")
				}
			}
			holds[ev.Key] = ev.What == alert.Raised || ev.What != alert.Cleared && holds[ev.Key]
			last[ev.Key] = ev
		}
		for place := range plan.Places {
			standing := map[alert.Key]alert.State{}
			for _, s := range e.Standing(place, nil) {
				if standing[s.Key] = s.State; s.State != last[s.Key].State || s.Raised != last[s.Key].Stands {
					t.Fatalf("%+v, told last %+v", s, last[s.Key])
				}
			}
			for _, p := range e.Progress(place, nil) {
				if told := last[p.Key]; told.State != "" && told.State != alert.Normal && standing[p.Key] == "" {
					t.Fatalf("%+v is not at hand", told)
				}
				if p.Raised != holds[p.Key] {
					t.Fatalf("%+v, but told was %+v", p, last[p.Key])
				}
			}
		}
	})
}
