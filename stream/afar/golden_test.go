package afar

import (
	"encoding/json"
	"flag"
	"testing"
	"time"

	"weald/stream/versions"
	"weald/stream/view"
)

var newPlace = flag.String("new-place", "", "write what a ward of the present version tells of a place into testdata/said, under this name")

// What a ward of any former version tells of a place is understood, so that a centre is
// replaced before its wards; and what one tells now has all that was told at first.
func TestWhatFormerWardsTell(t *testing.T) {
	seventy := 70.0
	now, err := json.Marshal(shown{1, 2, view.Place{ID: "bench-1", Kind: "wrap", State: view.StateQuiet, Text: "ankle 70 mmHg",
		Signals: map[string]view.Signal{"ankle.pressure": {Value: &seventy, Unit: "mmHg"}}}, nil})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range versions.Former(t, "testdata/said/*.json", *newPlace, func() []byte { return now }) {
		w := New(time.Now)
		w.hear(v.Said)
		places := w.Look().Places
		if len(places) != 1 {
			t.Fatalf("%s: %d places", v.Name, len(places))
		}
		p := places[0]
		if s := p.Signals["ankle.pressure"]; p.ID != "bench-1" || p.Kind != "wrap" || p.State != view.StateQuiet || p.Text != "ankle 70 mmHg" || s.Value == nil || *s.Value != 70 || s.Unit != "mmHg" {
			t.Errorf("%s: it is %+v", v.Name, p)
		}
	}
	var first struct {
		Index, Of int
		Place     struct {
			ID, Kind, State, Text string
			Signals               map[string]struct {
				Value *float64
				Unit  string
			}
		}
	}
	if err := json.Unmarshal(now, &first); err != nil {
		t.Fatal(err)
	}
	if p := first.Place; first.Index != 1 || first.Of != 2 || p.ID != "bench-1" || p.State != "quiet" || p.Signals["ankle.pressure"].Value == nil || p.Signals["ankle.pressure"].Unit != "mmHg" {
		t.Errorf("who knows no more has %+v", first)
	}
}
