package excerpt

import (
	"fmt"
	"math"
	"reflect"
	"testing"
	"time"

	"weald/ingest/calib"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/export"
	"weald/stream/journal/journaltest"
	"weald/stream/keeper"
	"weald/stream/record"
	"weald/stream/sessions"
)

var began = sample.At(time.Date(2026, 3, 1, 22, 0, 0, 0, time.UTC))

func after(ms int) sample.Instant { return began.Add(time.Duration(ms) * time.Millisecond) }

// twoSources are a fast one, ten a second and stale after one second, and a slow one, a reading
// in two seconds and stale after six, that measure one site together.
var twoSources = &rules.Plan{
	Sources: []rules.Source{
		{ID: "trolley/fast", Channels: 1, StaleAfter: time.Second}, {ID: "trolley/slow", Channels: 1, StaleAfter: 6 * time.Second},
	},
	Places: []rules.Place{{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{{ID: "ankle", Channels: []rules.Channel{{Source: 0}, {Source: 1}}}}}},
}

// kept has readings of both sources at these instants, in milliseconds.
func kept(t *testing.T, fast, slow []int) *journaltest.Memory {
	t.Helper()
	j := new(journaltest.Memory)
	ord := uint64(0)
	for i, all := range [][]int{fast, slow} {
		for _, ms := range all {
			ord++
			if err := j.AppendReadings(t.Context(), []record.Block{{Source: twoSources.Sources[i].ID, Config: 1, Scans: []record.Scan{
				{Ord: ord, At: after(ms), Arrived: after(ms), Rail: math.NaN(), Raw: []float64{40}}}}}, nil); err != nil {
				t.Fatal(err)
			}
		}
	}
	return j
}

func taken(t *testing.T, j *journaltest.Memory, from, to sample.Instant) export.Recording {
	t.Helper()
	converter, err := calib.NewConverter(calib.MMHg, 1, nil)
	if err != nil {
		t.Fatal(err)
	}
	x, err := New(t.Context(), j, twoSources, func() *keeper.Reviver {
		return keeper.NewReviver(twoSources, []*calib.Converter{converter, converter})
	}, []float64{10, 0.5}, 0, from, to)
	if err != nil {
		t.Fatal(err)
	}
	r, err := x.Recording()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// Holds that the record of a place ends when its newest reading has counted for a period, an
// instant that people can read, and that asking for just this stretch gives the same readings.
func TestAnOpenStretchEndsWhereTheNextReadingWasDue(t *testing.T) {
	for want, j := range map[int]*journaltest.Memory{
		59_900: kept(t, []int{0, 59_700, 59_800}, []int{100, 56_000}),
		61_500: kept(t, []int{0, 59_700, 59_800}, []int{100, 59_500}),
	} {
		r := taken(t, j, sample.Past, sample.Never)
		if r.Header.Start != began || r.Header.End != after(want) {
			t.Errorf("from %v to %v, want to %v", r.Header.Start, r.Header.End, after(want))
		}
		again := taken(t, j, r.Header.Start, r.Header.End)
		if one, two := fmt.Sprint(r.Header, rowsOf(t, r)), fmt.Sprint(again.Header, rowsOf(t, again)); one != two {
			t.Errorf("the stretch has\n%s\nand by its bounds\n%s", one, two)
		}
	}
}

func rowsOf(t *testing.T, r export.Recording) (all []string) {
	t.Helper()
	for row, err := range r.Tracks[0].Rows {
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, fmt.Sprint(row))
	}
	return all
}

// Holds that the mean of two sources ends with the first of their readings (semantics.md, 2),
// though the track that it is on says what the slower one is allowed.
func TestAMeanEndsWithTheFirstOfItsReadings(t *testing.T) {
	r := taken(t, kept(t, []int{0, 100, 200}, []int{150}), sample.Past, after(10_000))
	var got []string
	for row, err := range r.Tracks[0].Rows {
		if err != nil {
			t.Fatal(err)
		}
		if row.Values[0] == row.Values[0] {
			got = append(got, fmt.Sprint(row.At.Sub(began).Milliseconds(), " to ", row.Until.Sub(began).Milliseconds()))
		}
	}
	if want := []string{"0 to 1000", "100 to 1100", "150 to 1100", "200 to 1200"}; !reflect.DeepEqual(got, want) || r.Tracks[0].StaleAfter != 6*time.Second {
		t.Errorf("%q, want %q", got, want)
	}
}

// Holds that a stretch which has to have what was read at an instant is no longer than it, unless
// something was read just then.
func TestThroughAnInstant(t *testing.T) {
	j := kept(t, []int{0, 500}, []int{700})
	for ms, more := range map[int]sample.Instant{499: 0, 500: 1, 600: 0, 700: 1, 900: 0} {
		if to, err := Through(t.Context(), j, twoSources, 0, after(ms)); err != nil || to != after(ms)+more {
			t.Errorf("through %d ms: %v, %v", ms, to, err)
		}
	}
	if to, err := Through(t.Context(), j, twoSources, 0, sample.Never); err != nil || to != sample.Never {
		t.Errorf("through what has not ended: %v, %v", to, err)
	}
}

// Holds that what was read as the next session began is of that one, and is not given to whoever was
// there before.
func TestThroughTheBeginningOfTheNextSession(t *testing.T) {
	j := kept(t, []int{0, 500, 600}, nil)
	for _, step := range []struct {
		ms             int
		what, id, code string
	}{{0, sessions.Begun, "s-1", "K-07"}, {500, sessions.Ended, "s-1", "K-07"}, {500, sessions.Begun, "s-2", "K-08"}, {600, sessions.Ended, "s-2", "K-08"}} {
		if _, err := j.Append(t.Context(), record.Entry{At: after(step.ms), Written: after(step.ms), Place: "bench-1",
			Body: record.Session{ID: step.id, What: step.what, Code: step.code, Config: 1}}); err != nil {
			t.Fatal(err)
		}
	}
	for ms, more := range map[int]sample.Instant{500: 0, 600: 1} {
		if to, err := Through(t.Context(), j, twoSources, 0, after(ms)); err != nil || to != after(ms)+more {
			t.Errorf("through %d ms: %v, %v", ms, to, err)
		}
	}
	r := taken(t, j, began, after(500))
	if len(r.Header.Sessions) != 1 || r.Header.Sessions[0].Person != "K-07" {
		t.Errorf("it has the sessions %+v", r.Header.Sessions)
	}
}
