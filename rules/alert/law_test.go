package alert_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules/alert"
)

// What may come of what, as section 7 of the specification and ISA-18.2 have it: by
// each change, from which state to which. A change that a state which puts aside
// hides leaves it as it is, which is "aside".
var ways = map[alert.Change][]string{
	alert.Raised: {
		"normal unacknowledged", "returned-unacknowledged unacknowledged", "latched unacknowledged", "aside",
	},
	alert.Cleared: {
		"unacknowledged returned-unacknowledged", "unacknowledged latched", "acknowledged normal", "aside",
	},
	alert.WasAcknowledged: {
		"unacknowledged acknowledged", "returned-unacknowledged normal", "latched normal",
	},
	alert.WasShelved: {
		"normal shelved", "unacknowledged shelved", "acknowledged shelved", "returned-unacknowledged shelved", "latched shelved", "aside",
	},
	alert.WasUnshelved: {
		"shelved normal", "shelved unacknowledged", "shelved acknowledged", "shelved returned-unacknowledged", "shelved latched", "aside",
	},
	alert.WentOut: {
		"normal out-of-service", "unacknowledged out-of-service", "acknowledged out-of-service", "returned-unacknowledged out-of-service",
		"latched out-of-service", "shelved out-of-service", "suppressed out-of-service",
	},
	alert.CameBack: {
		"out-of-service normal", "out-of-service unacknowledged", "out-of-service acknowledged", "out-of-service returned-unacknowledged",
		"out-of-service latched", "out-of-service suppressed",
	},
	alert.WasSuppressed: {
		"normal suppressed", "unacknowledged suppressed", "acknowledged suppressed", "returned-unacknowledged suppressed",
		"latched suppressed", "shelved suppressed", "aside",
	},
	alert.WasUnsuppressed: {
		"suppressed normal", "suppressed unacknowledged", "suppressed acknowledged", "suppressed returned-unacknowledged",
		"suppressed latched", "suppressed shelved", "aside",
	},
	alert.Escalated: {"unacknowledged unacknowledged", "latched latched"},
	alert.Calmed: {
		"unacknowledged unacknowledged", "acknowledged acknowledged", "unacknowledged returned-unacknowledged", "unacknowledged latched",
		"acknowledged normal", "aside",
	},
}

func init() { ways[alert.Ended] = ways[alert.WasUnshelved] }

// a told is what lived writes of an event.
type told struct {
	at         int
	what       alert.Change
	state      alert.State
	tier       int
	chattering bool
	stands     bool
	quiet      bool
}

func read(t *rapid.T, line string) (e told) {
	t.Helper()
	quiet := ""
	n, _ := fmt.Sscan(line, &e.at, &e.what, &e.state, &e.tier, &e.chattering, &e.stands, &quiet)
	if e.quiet = quiet == "quiet"; n < 6 {
		t.Fatalf("%q is no event", line)
	}
	return e
}

func events(t *rapid.T, inputs []input, spec *alert.Spec, seconds int) (out []told) {
	t.Helper()
	for _, line := range lived(inputs, spec, seconds, func(*alert.Life) {}) {
		out = append(out, read(t, line))
	}
	return out
}

// No alert goes from one state to another in a way that nobody has written down.
func TestOnlyTheWaysThereAre(t *testing.T) {
	gone := map[string]bool{}
	tried.Check(t, func() (any, bool) { return len(gone), len(gone) >= 40 }, func(t *rapid.T) {
		inputs, spec, seconds := draw(t)
		state := alert.Normal
		for _, e := range events(t, inputs, &spec, seconds) {
			way := fmt.Sprint(state, " ", e.state)
			// What nobody is told of changes no state, except that who acknowledged a
			// chattering alert has done so.
			ok := slices.Contains(ways[e.what], way) || e.quiet && e.state == state ||
				state == e.state && state.Aside() && slices.Contains(ways[e.what], "aside")
			if !ok {
				t.Fatalf("%s at %d: %s, of %+v", e.what, e.at, way, inputs)
			}
			gone[fmt.Sprint(e.what, " ", way)] = true
			state = e.state
		}
	})
}

// Nothing is lost or doubled: each raise and each clear of the hold is one event at
// its instant, and the instants of events never go back.
func TestNothingIsLostOrDoubled(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		inputs, spec, seconds := draw(t)
		var want, got []string
		for _, in := range inputs {
			if in.what == "raise" || in.what == "clear" {
				want = append(want, fmt.Sprint(in.what, " ", in.at))
			}
		}
		last := 0
		for _, e := range events(t, inputs, &spec, seconds) {
			switch e.what {
			case alert.Raised:
				got = append(got, fmt.Sprint("raise ", e.at))
			case alert.Cleared:
				got = append(got, fmt.Sprint("clear ", e.at))
			}
			if e.at < last {
				t.Fatalf("%+v is told after what was at %d", e, last)
			}
			last = e.at
		}
		if !slices.Equal(got, want) {
			t.Fatalf("the hold was %v, told is %v", want, got)
		}
	})
}

// Somebody is called exactly while it is unacknowledged or latched, at first the
// first tier and never more than three; and what is put aside calls nobody.
func TestWhoIsCalled(t *testing.T) {
	most := 0
	tried.Check(t, tried.Count(&most, 3), func(t *rapid.T) {
		inputs, spec, seconds := draw(t)
		before := 0
		for _, e := range events(t, inputs, &spec, seconds) {
			calls := e.state == alert.Unacknowledged || e.state == alert.Latched
			up := e.what == alert.Escalated
			switch {
			case calls != (e.tier > 0), e.tier > 3, e.state.Aside() && e.tier > 0:
				t.Fatalf("%+v", e)
			case up && (e.tier != before+1 || spec.EscalateAfter == 0), !up && e.tier > 1 && e.tier != before:
				t.Fatalf("%+v, and tier %d before it", e, before)
			}
			before = e.tier
			most = max(most, e.tier)
		}
	})
}

// The same life later in the day is the same life.
func TestALifeKnowsNoTimeOfDay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		inputs, spec, seconds := draw(t)
		by := rapid.IntRange(1, 1_000_000).Draw(t, "later")
		later := slices.Clone(inputs)
		for i := range later {
			later[i].at += by
		}
		got, want := events(t, later, &spec, seconds+by), events(t, inputs, &spec, seconds)
		for i := range want {
			want[i].at += by
		}
		if !slices.Equal(got, want) {
			t.Fatalf("%+v\n%d s later:\n%v\nwant:\n%v", inputs, by, got, want)
		}
	})
}

// Written down and read at any instant, it goes on with the same events.
func TestALifeGoesOnAfterARestart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		inputs, spec, seconds := draw(t)
		want := lived(inputs, &spec, seconds, func(*alert.Life) {})
		got := lived(inputs, &spec, seconds, func(l *alert.Life) {
			again, _, err := alert.ReadLife(&spec, l.Append(nil))
			if err != nil {
				t.Fatal(err)
			}
			*l = again
		})
		if !slices.Equal(got, want) {
			t.Fatalf("with restarts:\n%s\nwithout:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
	})
}

// At and beside every limit of time there is: ten minutes for chattering and for
// being calm, eight hours of a shelf, the time to the next tier.
func TestTimesOfALife(t *testing.T) {
	const minute, hour = 60, 3600
	raises := func(at ...int) (out []input) {
		for _, s := range at {
			out = append(out, input{at: s, what: "raise"}, input{at: s + 1, what: "clear"})
		}
		return out
	}
	shelf := func(mins int) []input {
		return []input{{at: 0, what: "raise"}, {at: 5, what: "shelve", who: "K-07", mins: mins}}
	}
	for _, c := range []struct {
		name     string
		inputs   []input
		escalate int
		seconds  int
		want     []string // of them, in this order
		never    string
	}{
		{"four in ten minutes", raises(0, 100, 200, 600), 0, 2000, []string{"600 raised unacknowledged 1 true", "1200 calm"}, "601 cleared returned"},
		{"four in ten minutes and a second", raises(0, 100, 200, 601), 0, 2000, []string{"601 raised unacknowledged 1 false", "602 cleared returned"}, "calm"},
		{"four at once", raises(0, 2, 4, 6), 0, 605, []string{"6 raised unacknowledged 1 true"}, "calm"},
		{"which are over ten minutes after the last", raises(0, 2, 4, 6), 0, 606, []string{"606 calm returned"}, ""},
		{"a fifth puts that off", raises(0, 2, 4, 6, 300), 0, 2000, []string{"900 calm"}, "606"},
		{"eight hours", shelf(480), 0, 9 * hour, []string{"5 shelved shelved 0", "28805 shelf-ended unacknowledged 1"}, ""},
		{"and a minute", shelf(481), 0, 9 * hour, nil, "shelved"},
		{"until its end", shelf(480), 0, 28804, []string{"5 shelved"}, "ended"},
		{"two tiers later nobody is left", raises0(), 5 * minute, 2 * hour, []string{"300 escalated unacknowledged 2", "600 escalated unacknowledged 3"}, "900"},
		{"a second before", raises0(), 5 * minute, 299, nil, "escalated"},
		{"acknowledged as it was due", append(raises0(), input{at: 299, what: "acknowledge", who: "K-07"}), 5 * minute, 2 * hour, []string{"299 acknowledged acknowledged 0"}, "escalated"},
		{"never", raises0(), 0, 9 * hour, []string{"0 raised unacknowledged 1"}, "escalated"},
	} {
		spec := alert.Spec{EscalateAfter: time.Duration(c.escalate) * time.Second}
		got := lived(c.inputs, &spec, c.seconds, func(*alert.Life) {})
		rest := got
		for _, want := range c.want {
			i := slices.IndexFunc(rest, func(s string) bool { return strings.HasPrefix(s, want) })
			if i < 0 {
				t.Errorf("%s: no %q in\n%s", c.name, want, strings.Join(got, "\n"))
				break
			}
			rest = rest[i+1:]
		}
		if all := strings.Join(got, "\n"); c.never != "" && strings.Contains(all, c.never) {
			t.Errorf("%s: %q is in\n%s", c.name, c.never, all)
		}
	}
}

func raises0() []input { return []input{{at: 0, what: "raise"}} }

// Whether an action can be one at all, at each limit.
func TestActionsAtTheirLimits(t *testing.T) {
	const at = sample.Instant(1000)
	long := at + sample.Instant(8*time.Hour)
	for _, c := range []struct {
		a  alert.Action
		ok bool
	}{
		{alert.Action{Verb: alert.Shelve, At: at, Who: "K-07", Why: "bath", Until: at + 1}, true},
		{alert.Action{Verb: alert.Shelve, At: at, Who: "K-07", Why: "bath", Until: at}, false},
		{alert.Action{Verb: alert.Shelve, At: at, Who: "K-07", Why: "bath", Until: long}, true},
		{alert.Action{Verb: alert.Shelve, At: at, Who: "K-07", Why: "bath", Until: long + 1}, false},
		{alert.Action{Verb: alert.Shelve, At: at, Who: "K-07", Why: " \t", Until: long}, false},
		{alert.Action{Verb: alert.Shelve, At: at, Why: "bath", Until: long}, false},
		{alert.Action{Verb: alert.TakeOut, At: at, Who: "K-07", Why: "cable"}, true},
		{alert.Action{Verb: alert.TakeOut, At: at, Who: "K-07"}, false},
		{alert.Action{Verb: alert.Acknowledge, At: at, Who: "K-07"}, true},
		{alert.Action{Verb: alert.Acknowledge, At: at}, false},
		{alert.Action{Verb: alert.TakeBack, At: at, Who: "K-07"}, true},
		{alert.Action{Verb: alert.Unshelve, At: at, Who: "K-07"}, true},
		{alert.Action{At: at, Who: "K-07", Why: "bath"}, false},
	} {
		if err := c.a.Check(); (err == nil) != c.ok {
			t.Errorf("%+v: %v", c.a, err)
		}
	}
}

func TestPrioritiesAreTheirWords(t *testing.T) {
	for p, word := range map[alert.Priority]string{alert.Low: "low", alert.Medium: "medium", alert.High: "high"} {
		if got, ok := alert.ParsePriority(p.String()); p.String() != word || !ok || got != p {
			t.Errorf("%d is %q, which is read as %d", p, p, got)
		}
	}
	for _, word := range []string{"", "none", "High", "urgent"} {
		if p, ok := alert.ParsePriority(word); ok {
			t.Errorf("%q is read as %v", word, p)
		}
	}
	if !(alert.Low < alert.Medium && alert.Medium < alert.High) {
		t.Error("priorities are in no order")
	}
}
