package contrast_test

import (
	"cmp"
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules/alert"
	"weald/rules/contrast"
)

// drawEpisodes draws alerts of some places, rules and subjects, as told: in the order of
// their begin. Those of one subject may overlap too, which no rule brings about, but the
// comparison has to stand.
func drawEpisodes(t *rapid.T, name string, shift sample.Instant) []contrast.Episode {
	var out []contrast.Episode
	for range rapid.IntRange(0, 9).Draw(t, name) {
		e := contrast.Episode{
			Key: alert.Key{
				Place: rapid.SampledFrom([]string{"K-07", "K-08"}).Draw(t, "place"), Rule: rapid.SampledFrom([]string{"tight", "still"}).Draw(t, "rule"),
				Subject: rapid.SampledFrom([]string{"ankle", "calf", "knee"}).Draw(t, "subject"),
			},
			Priority: rapid.SampledFrom([]alert.Priority{alert.Low, alert.Medium}).Draw(t, "priority"),
			From:     shift + sample.Instant(rapid.IntRange(0, 20).Draw(t, "from")),
		}
		e.To = e.From + sample.Instant(rapid.IntRange(0, 9).Draw(t, "lasting"))
		out = append(out, e)
	}
	sortByBegin(out)
	return out
}

func sortByBegin(s []contrast.Episode) {
	slices.SortStableFunc(s, func(a, b contrast.Episode) int { return cmp.Compare(a.From, b.From) })
}

// common is the time that two episodes share, -1 for none: instants from the one to the
// other, of which one that lasts no time has a single one.
func common(a, b *contrast.Episode) int {
	if a.Place != b.Place || a.Rule != b.Rule {
		return -1
	}
	from, to := max(a.From, b.From), min(a.To, b.To)
	if to < from || to == from && a.From != a.To && b.From != b.To {
		return -1
	}
	return int(to - from)
}

// paired is the package comment word by word: as long as any two that are left could be
// the same, the best two are. It returns the partner of each before, -1 for none.
func paired(before, after []contrast.Episode) []int {
	partner, taken := make([]int, len(before)), map[int]bool{}
	for i := range partner {
		partner[i] = -1
	}
	for {
		bi, bk, best := -1, -1, -1
		for i := range before {
			for k := range after {
				if partner[i] >= 0 || taken[k] {
					continue
				}
				worth := common(&before[i], &after[k])
				if worth >= 0 && before[i].Subject == after[k].Subject {
					worth += 1000 // those of one subject go first
				}
				if worth > best {
					bi, bk, best = i, k, worth
				}
			}
		}
		if bi < 0 {
			return partner
		}
		partner[bi], taken[bk] = bk, true
	}
}

func kind(a, b *contrast.Episode) contrast.Kind {
	switch {
	case a == nil:
		return contrast.Comes
	case b == nil:
		return contrast.Goes
	case a.Key == b.Key && a.Priority == b.Priority && a.From == b.From && a.To == b.To && a.Stands == b.Stands:
		return contrast.Stays
	}
	return contrast.Moves
}

// Episodes of several places, rules and subjects are paired as the slow reference pairs
// them, whatever their time is; and changes that are counted are those there are.
func TestAgainstTheReference(t *testing.T) {
	seen := map[contrast.Kind]int{}
	tried.Check(t, tried.Each(seen, 5, contrast.Comes, contrast.Goes, contrast.Moves, contrast.Stays), func(t *rapid.T) {
		shift := sample.Instant(rapid.SampledFrom([]int64{0, -1 << 62, 1 << 62, 1_800_000_000_000_000_000}).Draw(t, "shift"))
		before, after := drawEpisodes(t, "before", shift), drawEpisodes(t, "after", shift)
		for _, e := range before { // nearly all rules leave nearly all alerts as they are
			if rapid.Bool().Draw(t, "as it was") {
				after = append(after, e)
			}
		}
		sortByBegin(after)
		partner := paired(before, after)
		var n contrast.Counts
		for _, c := range contrast.Compare(before, after) {
			if c.Kind != kind(c.Before, c.After) {
				t.Fatalf("%+v and %+v: %s", c.Before, c.After, c.Kind)
			}
			seen[c.Kind]++
			switch c.Kind {
			case contrast.Comes:
				n.Comes++
				continue
			case contrast.Goes:
				n.Goes++
			case contrast.Moves:
				n.Moves++
			case contrast.Stays:
				n.Stays++
			}
			i := 0
			for &before[i] != c.Before {
				i++
			}
			want := (*contrast.Episode)(nil)
			if partner[i] >= 0 {
				want = &after[partner[i]]
			}
			if c.After != want {
				t.Fatalf("%+v goes with %+v, want %+v", *c.Before, c.After, want)
			}
		}
		if got := contrast.Count(contrast.Compare(before, after)); got != n {
			t.Fatalf("counted %+v, want %+v", got, n)
		}
	})
}

// What is said of the first rules beside the second is told the other way round of the
// second beside the first, as long as no alert has two that it shares as much time with.
func TestTheOtherWayRound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		before, after := drawEpisodes(t, "before", 0), drawEpisodes(t, "after", 0)
		worths := map[string]bool{}
		for i := range before {
			for k := range after {
				if c := common(&before[i], &after[k]); c >= 0 {
					worth := fmt.Sprint(before[i].Place, before[i].Rule, before[i].Subject == after[k].Subject, c)
					if worths[worth] {
						t.Skip("two are as good")
					}
					worths[worth] = true
				}
			}
		}
		one, other := contrast.Count(contrast.Compare(before, after)), contrast.Count(contrast.Compare(after, before))
		if one.Comes != other.Goes || one.Goes != other.Comes || one.Moves != other.Moves || one.Stays != other.Stays {
			t.Fatalf("%+v, and the other way round %+v", one, other)
		}
	})
}

// Whatever is told in whatever order: an episode is what was raised, up to the first time
// that this alert was cleared before it was raised again; else it stands to the end.
func TestEpisodesOfAnyEvents(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		events, end := []alert.Event{}, sample.Instant(rapid.IntRange(0, 30).Draw(t, "end"))
		at := sample.Instant(0)
		for k := range rapid.IntRange(0, 20).Draw(t, "events") {
			at += sample.Instant(rapid.IntRange(0, 3).Draw(t, "later"))
			events = append(events, alert.Event{
				At: at, Key: alert.Key{Place: "K-07", Rule: "tight", Subject: rapid.SampledFrom([]string{"ankle", "calf"}).Draw(t, "subject")},
				What:     rapid.SampledFrom([]alert.Change{alert.Raised, alert.Cleared, alert.WasAcknowledged}).Draw(t, "what"),
				Priority: alert.Medium, Value: float64(k), Unit: "mmHg", Text: fmt.Sprint("event ", k), Quiet: k%2 == 0,
			})
		}
		got := contrast.Episodes(events, end)
		for i, e := range events {
			if e.What != alert.Raised {
				continue
			}
			want := contrast.Episode{Key: e.Key, Priority: e.Priority, From: e.At, To: max(end, e.At), Stands: true, Value: e.Value, Unit: e.Unit, Text: e.Text, Quiet: e.Quiet}
			for _, later := range events[i+1:] {
				if later.Key == e.Key && later.What == alert.Raised {
					break
				}
				if later.Key == e.Key && later.What == alert.Cleared {
					want.To, want.Stands = later.At, false
					break
				}
			}
			if len(got) == 0 || got[0] != want {
				t.Fatalf("event %d of %+v: %+v, want %+v", i, events, got, want)
			}
			got = got[1:]
		}
		if len(got) != 0 {
			t.Fatalf("nobody raised %+v", got)
		}
	})
}
