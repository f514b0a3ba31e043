package rules_test

import (
	"cmp"
	"fmt"
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

// begun is a story of a plan that the test knows to be in order.
func begun(plan *rules.Plan) *story {
	s := &story{plan: plan}
	s.Engine = rules.NewEngine(plan, s)
	return s
}

// happened are the raises and clears of a story, such as "1.5s raised".
func (s *story) happened() (out []string) {
	for _, line := range s.lines {
		if f := strings.Fields(line); f[1] == "raised" || f[1] == "cleared" {
			out = append(out, f[0]+" "+f[1])
		}
	}
	return out
}

// all is everything that a story tells, with its sentences.
func (s *story) all() string {
	var b strings.Builder
	for i, line := range s.lines {
		fmt.Fprintf(&b, "%s: %s\n", line, s.texts[i])
	}
	return b.String()
}

// spans are the stretches of time in which at least one of the alerts that count is
// raised, in words. What lasts no time is left out, and so is what is raised again at
// the instant at which another one is cleared.
func (s *story) spans(counts func(alert.Key) bool) (out []string) {
	var lines [][]string
	for _, line := range s.lines {
		f := strings.Fields(line)
		if k, ok := alert.ParseKey(f[2]); ok && counts(k) && (f[1] == "raised" || f[1] == "cleared") {
			lines = append(lines, f)
		}
	}
	raised, was := 0, false
	for i, f := range lines {
		if raised++; f[1] == "cleared" {
			raised -= 2
		}
		last := i+1 == len(lines) || lines[i+1][0] != f[0]
		if last && raised > 0 != was {
			was = raised > 0
			when, _ := time.ParseDuration(f[0])
			out = append(out, fmt.Sprintf("%v %t", when.Round(time.Microsecond), was))
		}
	}
	return out
}

// state is all that can be asked of a place, but for the values of its cells.
func (s *story) state(place int) string {
	sitting, seat := s.Sitting(place)
	return fmt.Sprintf("%v\n%v\n%v\n%v %t\n%v %v", s.Signals(place), s.Progress(place, nil), s.Standing(place, nil), sitting, seat, s.NextPlace(place), s.LastScan(place))
}

// restarted is the story as another process goes on with it.
func (s *story) restarted() (*story, error) {
	next := begun(s.plan)
	next.lines, next.texts, next.late = s.lines, s.texts, s.late
	for place := range s.plan.Places {
		if err := next.RestorePlace(place, s.SnapshotPlace(place, nil)); err != nil {
			return nil, err
		}
	}
	return next, nil
}

// few is rapid.Check for stories that are so long that n of them have to be enough.
func few(t *testing.T, n int, story func(*rapid.T)) {
	told, failing := 0, false
	rapid.Check(t, func(t *rapid.T) {
		if told++; told <= n || failing {
			failing = true // unless it comes back; then it is made shorter
			story(t)
			failing = false
		}
	})
}

// fewUntil is few, again and again until that was enough.
func fewUntil(t *testing.T, n int, enough tried.Enough, story func(*rapid.T)) {
	t.Helper()
	tried.Until(t, enough, func() { few(t, n, story) })
}

// ms is an instant or a duration in words, as lines have it.
func ms(n int) time.Duration { return time.Duration(n) * time.Millisecond }

// progressOf is how far one alert has come.
func (s *story) progressOf(place int, rule, subject string) (rules.Progress, bool) {
	all := s.Progress(place, nil)
	i := slices.IndexFunc(all, func(p rules.Progress) bool { return p.Rule == rule && p.Subject == subject })
	if i < 0 {
		return rules.Progress{}, false
	}
	return all[i], true
}

// told is a sink that keeps every event, and what was late.
type told struct {
	events []alert.Event
	late   []sample.Instant
}

func (s *told) Alert(e alert.Event)           { s.events = append(s.events, e) }
func (s *told) Updated(int, sample.Instant)   {}
func (s *told) Late(_ int, scan *sample.Scan) { s.late = append(s.late, scan.At) }
func engineOf(plan *rules.Plan) (*rules.Engine, *told) {
	s := &told{}
	return rules.NewEngine(plan, s), s
}

// at is an instant so long after the beginning of a story.
func at(d time.Duration) sample.Instant { return sample.Instant(d) }

type event = alert.Event

func compare[T cmp.Ordered](a, b T) int { return cmp.Compare(a, b) }

// signalOf is a signal of a place, nameless if there is none of the name.
func (s *story) signalOf(place int, name string) (sig rules.Signal) {
	for _, sig := range s.Signals(place) {
		if sig.Name == name {
			return sig
		}
	}
	return sig
}
