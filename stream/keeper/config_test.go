package keeper_test

import (
	"slices"
	"testing"

	"weald/ingest/sample"
	"weald/stream/journal/journaltest"
	"weald/stream/keeper"
	"weald/stream/record"
)

// What was undone before anything was judged by it was never in force, and what it was
// undone by is what was before. Nothing else is left out: not the same text, later, nor one
// that was in force for no input, as alerts may have ended for it.
func TestReigns(t *testing.T) {
	type version struct {
		text   string
		undoes uint64
	}
	for name, c := range map[string]struct {
		kept []version
		want []uint64
	}{
		"none":                       {},
		"as they came":               {[]version{{"a", 0}, {"b", 0}, {"a", 0}}, []uint64{1, 2, 3}},
		"undone":                     {[]version{{"a", 0}, {"b", 0}, {"a", 2}}, []uint64{1}},
		"undone, and another":        {[]version{{"a", 0}, {"b", 0}, {"a", 2}, {"c", 0}}, []uint64{1, 4}},
		"undone twice":               {[]version{{"a", 0}, {"b", 0}, {"a", 2}, {"c", 0}, {"a", 4}, {"d", 0}}, []uint64{1, 6}},
		"what was before is lost":    {[]version{{"b", 0}, {"a", 1}}, []uint64{2}},
		"what was undone is lost":    {[]version{{"a", 0}, {"a", 7}, {"c", 0}}, []uint64{1, 3}},
		"another one was before it":  {[]version{{"z", 0}, {"b", 0}, {"a", 2}}, []uint64{1, 3}},
		"undone is not what follows": {[]version{{"a", 0}, {"b", 0}, {"c", 0}, {"b", 3}}, []uint64{1, 2}},
	} {
		j := new(journaltest.Memory)
		for i, v := range c.kept {
			body := record.NewConfig(uint64(i)+1, v.text)
			body.Undoes = v.undoes
			at := sample.Instant(i) + 1
			if _, err := j.Append(t.Context(), record.Entry{Ord: uint64(i) + 1, At: at, Written: at, Body: body}); err != nil {
				t.Fatal(err)
			}
		}
		all, err := keeper.Reigns(t.Context(), j, nil)
		var got []uint64
		for _, e := range all {
			got = append(got, e.Body.(record.Config).Version)
		}
		if err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s: versions %v (%v), want %v", name, got, err, c.want)
		}
	}
}
