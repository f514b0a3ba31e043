package timeline_test

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
	"weald/rules/alert"
	"weald/rules/hold/holdtest"
	"weald/rules/timeline"
)

// written is a script of the settings and readings of a hold, in ms.
func written(s holdtest.Settings, readings []holdtest.Reading) string {
	var b strings.Builder
	fmt.Fprintf(&b, "limit %s %v deadband %v\n", s.Kind, s.Limit, s.Deadband)
	fmt.Fprintf(&b, "on_delay %dms\noff_delay %dms\nresets_after %dms\nforget_after %dms\nstale_after %dms\n", s.On, s.Off, s.Resets, s.Forget, s.Stale)
	for _, r := range readings {
		if math.IsNaN(r.Value) {
			fmt.Fprintf(&b, "%dms -\n", r.At)
		} else {
			fmt.Fprintf(&b, "%dms %v\n", r.At, r.Value)
		}
	}
	return b.String()
}

func run(t rapid.TB, text string) []timeline.Happening {
	t.Helper()
	s, err := timeline.Parse(strings.NewReader(text))
	if err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	return s.Run()
}

// turns are the raises and clears.
func turns(list []timeline.Happening) []timeline.Happening {
	return slices.DeleteFunc(slices.Clone(list), func(h timeline.Happening) bool { return h.What != alert.Raised && h.What != alert.Cleared })
}

// story draws a rule and readings that end with the run, with gates left out.
// Chattering would leave out what the reference tells, so no rule here raises
// more than three times.
func story(t *rapid.T) (holdtest.Settings, []holdtest.Reading) {
	s, readings := holdtest.DrawSettings(t), holdtest.DrawReadings(t)
	s.GateFrom, s.GateTo = 0, 0
	readings = slices.DeleteFunc(readings, func(r holdtest.Reading) bool { return r.At > s.End })
	s.End = readings[len(readings)-1].At
	raises := 0
	for _, h := range holdtest.Reference(readings, s) {
		if h.What == "raised" {
			raises++
		}
	}
	if raises > alert.ChatterMost {
		t.Skip("it chatters")
	}
	return s, readings
}

// From text to what people are told, through the whole engine, is what a slow
// reference of the table of section 4 makes of the same readings, ms by ms.
func TestScriptsAgainstTheReference(t *testing.T) {
	raised, cleared := 0, 0
	tried.Check(t, tried.All(tried.Count(&raised, 20), tried.Count(&cleared, 10)), func(t *rapid.T) {
		s, readings := story(t)
		var want []timeline.Happening
		for _, h := range holdtest.Reference(readings, s) {
			want = append(want, timeline.Happening{What: alert.Change(h.What), At: time.Duration(h.At) * time.Millisecond})
		}
		text := written(s, readings)
		got := turns(run(t, text))
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("%s\ngives %v, the reference %v", text, got, want)
		}
		for _, h := range got {
			if h.What == alert.Raised {
				raised++
			} else {
				cleared++
			}
		}
	})
}

// The same readings later happen later, and nothing else about them changes.
func TestAllDayLong(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, readings := story(t)
		by := rapid.IntRange(1, 86_400_000).Draw(t, "later")
		want := run(t, written(s, readings))
		for i := range want {
			want[i].At += time.Duration(by) * time.Millisecond
		}
		later := slices.Clone(readings)
		for i := range later {
			later[i].At += by
		}
		if got := run(t, written(s, later)); fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("%s\n%d ms later gives %v, want %v", written(s, readings), by, got, want)
		}
	})
}

// Above a limit is below its opposite of the opposite readings.
func TestBelowIsAboveUpsideDown(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, readings := story(t)
		other, opposite := s, slices.Clone(readings)
		other.Kind, other.Limit = map[string]string{"above": "below", "below": "above"}[s.Kind], -s.Limit
		for i := range opposite {
			opposite[i].Value = -opposite[i].Value
		}
		got, want := run(t, written(other, opposite)), run(t, written(s, readings))
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("%s\ngives %v, and upside down %v", written(s, readings), want, got)
		}
	})
}

// What has happened by a reading does not depend on what comes after it.
func TestTheFutureChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, readings := story(t)
		n := rapid.IntRange(1, len(readings)).Draw(t, "first")
		part, whole := run(t, written(s, readings[:n])), run(t, written(s, readings))
		if len(part) > len(whole) || fmt.Sprint(part) != fmt.Sprint(whole[:len(part)]) {
			t.Fatalf("%s\nits first %d readings give %v, all of them %v", written(s, readings), n, part, whole)
		}
	})
}

// A reading that says once more what was known until then, and is known for no
// longer than that, changes nothing.
func TestARepeatedValueChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, readings := story(t)
		i := rapid.IntRange(0, len(readings)-1).Draw(t, "which")
		last := s.Stale
		if i+1 < len(readings) {
			last = min(last, readings[i+1].At-readings[i].At)
		}
		if i+1 == len(readings) || readings[i+1].At-readings[i].At > s.Stale || last < 2 {
			t.Skip("nothing follows within reach")
		}
		more := slices.Insert(slices.Clone(readings), i+1, holdtest.Reading{At: readings[i].At + rapid.IntRange(1, last-1).Draw(t, "after"), Value: readings[i].Value})
		if got, want := run(t, written(s, more)), run(t, written(s, readings)); fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("%s\ngives %v, and with a reading repeated %v", written(s, readings), want, got)
		}
	})
}

// Where every reading is missing nothing is told, whatever the rule; and what
// stands when readings begin to be missing is told as unknown once, and never as
// raised or cleared.
func TestMissingReadingsTellNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, readings := story(t)
		n := rapid.IntRange(0, len(readings)).Draw(t, "known")
		silent := slices.Clone(readings)
		for i := n; i < len(silent); i++ {
			silent[i].Value = math.NaN()
		}
		got := run(t, written(s, silent))
		if n == 0 && len(got) > 0 {
			t.Fatalf("%s\ngives %v without a value", written(s, silent), got)
		}
		if n == len(readings) {
			return
		}
		from := time.Duration(silent[n].At) * time.Millisecond
		unknown := 0
		for _, h := range got {
			switch {
			case h.At > from && h.What != alert.Unknown:
				t.Fatalf("%s\nhas %v in a silence from %v on", written(s, silent), h, from)
			case h.At >= from && h.What == alert.Unknown:
				unknown++
			}
		}
		if unknown > 1 {
			t.Fatalf("%s\nis told to be unknown %d times in one silence", written(s, silent), unknown)
		}
	})
}

// Readings may come in any order: what is older than the newest is left out, so
// that only those which are newer than all before them count.
func TestOnlyNewerReadingsCount(t *testing.T) {
	late := 0
	tried.Check(t, tried.Count(&late, 100), func(t *rapid.T) {
		s, readings := story(t)
		mixed := rapid.Permutation(readings).Draw(t, "arrival")
		var newer []holdtest.Reading
		for _, r := range mixed {
			if len(newer) == 0 || r.At > newer[len(newer)-1].At {
				newer = append(newer, r)
			} else {
				late++
			}
		}
		if got, want := run(t, written(s, mixed)), run(t, written(s, newer)); fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("%s\ngives %v, and without what is late %v", written(s, mixed), got, want)
		}
	})
}

// A longer on_delay never raises earlier, and one more minute before it forgets
// never later, as long as nothing has been cleared yet.
func TestFirstRaiseAgainstDelays(t *testing.T) {
	first := func(list []timeline.Happening) time.Duration {
		i := slices.IndexFunc(list, func(h timeline.Happening) bool { return h.What == alert.Raised })
		if i < 0 {
			return math.MaxInt64
		}
		return list[i].At
	}
	rapid.Check(t, func(t *rapid.T) {
		s, readings := story(t)
		was := first(run(t, written(s, readings)))
		longer := s
		longer.On += rapid.IntRange(1, 60).Draw(t, "longer")
		if at := first(run(t, written(longer, readings))); at < was {
			t.Fatalf("%s\nraises at %v, and with %d ms more at %v", written(s, readings), was, longer.On-s.On, at)
		}
		for name, patient := range map[string]holdtest.Settings{
			"forget_after": func(s holdtest.Settings) holdtest.Settings { s.Forget += 60; return s }(s),
			"resets_after": func(s holdtest.Settings) holdtest.Settings { s.Resets += 60; return s }(s),
			"deadband":     func(s holdtest.Settings) holdtest.Settings { s.Deadband++; return s }(s),
		} {
			if at := first(run(t, written(patient, readings))); at > was {
				t.Fatalf("%s\nraises at %v, and with more %s at %v", written(s, readings), was, name, at)
			}
		}
	})
}

// What a line means, by what becomes of it.
func TestLines(t *testing.T) {
	const text = `
	# a comment, and an empty line above it

	limit outside 15 25 deadband 2   # another
	on_delay 30s
	off_delay 10s
	resets_after 5s
	forget_after 1m
	stale_after 1500ms
	escalate_after 5m
	latched
	0s..2s 20
	every 250ms
	3s..3500ms 21.5
	4s -
	act 4500ms shelve K-07 20m bath and dressing
	= raised 1m30s
	`
	s, err := timeline.Parse(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	r := s.Rule
	for what, ok := range map[string]bool{
		"outside":        r.Limit.Outside != nil && *r.Limit.Outside == [2]float64{15, 25} && r.Limit.Above == nil && r.Limit.Below == nil,
		"deadband":       r.Limit.Deadband == 2,
		"on_delay":       r.OnDelay == 30*time.Second,
		"off_delay":      r.OffDelay == 10*time.Second,
		"resets_after":   r.ResetsAfter == 5*time.Second,
		"forget_after":   r.ForgetAfter == time.Minute,
		"stale_after":    s.StaleAfter == 1500*time.Millisecond,
		"escalate_after": r.EscalateAfter == 5*time.Minute,
		"latched":        r.Latched,
		"want":           slices.Equal(s.Want, []timeline.Happening{{What: alert.Raised, At: 90 * time.Second}}),
		"acts": len(s.Acts) == 1 && s.Acts[0] == alert.Action{
			Verb: alert.Shelve, At: sample.Instant(4500 * time.Millisecond), Who: "K-07", Why: "bath and dressing", Until: sample.Instant(4500*time.Millisecond + 20*time.Minute),
		},
	} {
		if !ok {
			t.Errorf("%s is not what the script says: %+v", what, s)
		}
	}
	var got []string
	for _, r := range s.Readings {
		got = append(got, fmt.Sprint(time.Duration(r.At), " ", r.Value))
	}
	if want := "0s 20, 1s 20, 2s 20, 3s 21.5, 3.25s 21.5, 3.5s 21.5, 4s NaN"; strings.Join(got, ", ") != want {
		t.Errorf("readings %s, want %s", strings.Join(got, ", "), want)
	}
}

// What is said unless a script says otherwise.
func TestWhatIsNotSaid(t *testing.T) {
	s, err := timeline.Parse(strings.NewReader("limit above 32\n0s..2s 40"))
	if err != nil {
		t.Fatal(err)
	}
	if s.StaleAfter != 3*time.Second || s.Rule.ForgetAfter != 10*time.Minute || s.Rule.OnDelay != 0 || s.Rule.OffDelay != 0 ||
		s.Rule.ResetsAfter != 0 || s.Rule.Limit.Deadband != 0 || s.Rule.Latched || len(s.Readings) != 3 {
		t.Errorf("without a word: %+v", s)
	}
}

// A refused line is named by its number, comments and empty lines counted.
func TestWhatIsWrongIsNamedByItsLine(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"limit above 32\n\n# why\n0s high\n", "line 4: "},
		{"limit above 32 below\n", "line 1: "},
		{"limit outside 15\n", "line 1: "},
		{"limit above 32\nevery 0s\n0s..5s 40\n", "line 2: "},
		{"limit above 32\nevery -1s\n", "line 2: "},
		{"limit above 32\non_delay -1s\n", "line 2: "},
		{"limit above 32\n5s..1s 40\n", "line 2: "},
		{"limit above 32\n= raised soon\n", "line 2: "},
		{"limit above 32\n= rised 3s\n", "line 2: "},
		{"limit above 32\nact 3s shelve K-07 soon bath\n", "line 2: "},
	} {
		_, err := timeline.Parse(strings.NewReader(c.text))
		if err == nil || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("Parse(%q): %v, want it to begin with %q", c.text, err, c.want)
		}
	}
}
