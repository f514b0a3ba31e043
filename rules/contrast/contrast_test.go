package contrast_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/contrast"
)

// spans writes episodes as people note them: "ankle 10-20" was raised at 10 and
// cleared at 20, "ankle 10-" was not.
func spans(t interface{ Fatalf(string, ...any) }, text string) []contrast.Episode {
	var events []alert.Event
	for _, line := range strings.Split(text, ",") {
		var subject string
		from, to := 0, -1
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		if n, _ := fmt.Sscanf(line, "%s %d-%d", &subject, &from, &to); n < 2 {
			t.Fatalf("%q", line)
		}
		key := alert.Key{Place: "bench-1", Rule: "tight", Subject: subject}
		events = append(events, alert.Event{At: sample.Instant(from), Key: key, What: alert.Raised, Priority: alert.Low})
		if to >= 0 {
			events = append(events, alert.Event{At: sample.Instant(to), Key: key, What: alert.Cleared})
		}
	}
	slices.SortStableFunc(events, func(a, b alert.Event) int { return int(a.At - b.At) })
	return contrast.Episodes(events, 100)
}

func TestWhatBecomesOfAnAlert(t *testing.T) {
	for name, c := range map[string]struct{ before, after, want string }{
		"nothing":              {"", "", ""},
		"alike":                {"ankle 10-20", "ankle 10-20", "stays 10-20>10-20"},
		"later":                {"ankle 10-20", "ankle 15-20", "moves 10-20>15-20"},
		"gone":                 {"ankle 10-20", "", "goes 10-20"},
		"new":                  {"", "ankle 10-20", "comes 10-20"},
		"the next one":         {"ankle 10-20", "ankle 20-30", "goes 10-20, comes 20-30"},
		"no time at all":       {"ankle 10-10", "ankle 10-30", "moves 10-10>10-30"},
		"stands, and ends":     {"ankle 10-", "ankle 10-100", "moves 10->10-100"},
		"stands":               {"ankle 10-", "ankle 10-", "stays 10->10-"},
		"split":                {"ankle 10-50", "ankle 10-20, ankle 25-50", "moves 10-50>25-50, comes 10-20"},
		"joined":               {"ankle 10-20, ankle 25-50", "ankle 10-50", "goes 10-20, moves 25-50>10-50"},
		"another subject":      {"ankle 10-50", "calf 12-50", "moves 10-50>12-50"},
		"its own subject":      {"ankle 10-50", "calf 10-50, ankle 40-50", "moves 10-50>40-50, comes 10-50"},
		"one after the other":  {"ankle 10-20, ankle 30-40", "ankle 12-20, ankle 31-40", "moves 10-20>12-20, moves 30-40>31-40"},
		"what went on and on":  {"ankle 10-, calf 20-30", "ankle 15-, calf 20-30", "moves 10->15-, stays 20-30>20-30"},
		"the nearest of three": {"ankle 10-40", "ankle 5-12, ankle 15-39, ankle 39-60", "comes 5-12, moves 10-40>15-39, comes 39-60"},
	} {
		var got []string
		for _, c := range contrast.Compare(spans(t, c.before), spans(t, c.after)) {
			parts := []string{}
			for _, e := range []*contrast.Episode{c.Before, c.After} {
				switch {
				case e != nil && e.Stands:
					parts = append(parts, fmt.Sprintf("%d-", e.From))
				case e != nil:
					parts = append(parts, fmt.Sprintf("%d-%d", e.From, e.To))
				}
			}
			got = append(got, string(c.Kind)+" "+strings.Join(parts, ">"))
		}
		if is := strings.Join(got, ", "); is != c.want {
			t.Errorf("%s: %s, want %s", name, is, c.want)
		}
	}
}

// Whatever there is on both sides: every episode is in one change, the changes
// are in order, partners share time, and a thing beside itself stays.
func TestSentencesThatAlwaysHold(t *testing.T) {
	draw := func(t *rapid.T, name string) []contrast.Episode {
		var lines []string
		for _, subject := range []string{"ankle", "calf"} {
			at := 0
			for range rapid.IntRange(0, 6).Draw(t, name) {
				from := at + rapid.IntRange(0, 9).Draw(t, "after")
				at = from + rapid.IntRange(0, 9).Draw(t, "lasting")
				lines = append(lines, fmt.Sprintf("%s %d-%d", subject, from, at))
				at++
			}
		}
		return spans(t, strings.Join(lines, ","))
	}
	rapid.Check(t, func(t *rapid.T) {
		before, after := draw(t, "before"), draw(t, "after")
		seen := map[*contrast.Episode]int{}
		changes := contrast.Compare(before, after)
		last := sample.Past
		for _, c := range changes {
			begin := sample.Never
			for _, e := range []*contrast.Episode{c.Before, c.After} {
				if e != nil {
					seen[e]++
					begin = min(begin, e.From)
				}
			}
			if begin < last {
				t.Fatalf("%+v is out of order", c)
			}
			last = begin
			if c.Before != nil && c.After != nil && (c.Before.To < c.After.From || c.After.To < c.Before.From) {
				t.Fatalf("%+v and %+v share no time", *c.Before, *c.After)
			}
		}
		if len(seen) != len(before)+len(after) {
			t.Fatalf("%d of %d episodes", len(seen), len(before)+len(after))
		}
		for e, n := range seen {
			if n != 1 {
				t.Fatalf("%+v is in %d changes", *e, n)
			}
		}
		n := contrast.Count(changes)
		if n.Goes+n.Moves+n.Stays != len(before) || n.Comes+n.Moves+n.Stays != len(after) {
			t.Fatalf("%+v of %d and %d", n, len(before), len(after))
		}
		if same := contrast.Count(contrast.Compare(before, before)); same.Stays != len(before) {
			t.Fatalf("beside itself: %+v of %d", same, len(before))
		}
	})
}
