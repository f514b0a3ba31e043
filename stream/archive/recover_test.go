package archive

import (
	"math"
	"testing"
	"time"

	"weald/ingest/calib"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/journal/journaltest"
	"weald/stream/keeper"
	"weald/stream/record"
)

// A daemon is killed nine minutes past the hour: its readings are kept, of their
// history only the first eight minutes, and nothing is summed up. Recover makes
// the last minute of the readings, and leaves what is kept as it is.
func TestRecoverMakesWhatWasNotKept(t *testing.T) {
	plan := &rules.Plan{
		Sources: []rules.Source{{ID: "trolley/leg", Channels: 1, StaleAfter: 3 * time.Second, Calibrated: true}},
		Places:  []rules.Place{{ID: ids[0], Kind: rules.Wrap, Sites: []rules.Site{{ID: "ankle", Channels: []rules.Channel{{Source: 0}}}}}},
	}
	mmhg, err := calib.NewConverter(calib.MMHg, 1, nil)
	if err != nil {
		t.Fatal(err)
	}
	reviver := keeper.NewReviver(plan, []*calib.Converter{mmhg})
	j := new(journaltest.Memory)
	began := sample.At(time.Date(2025, 11, 24, 22, 0, 0, 0, time.UTC))
	const minutes, kept = 9, 8
	var last sample.Instant
	var seconds []record.Point
	for i := range sample.Instant(minutes * 60) {
		if silent := i >= 500 && i < 520; silent {
			continue
		}
		last = began + i*second
		err := j.AppendReadings(t.Context(), []record.Block{{Source: "trolley/leg", Config: 1, Scans: []record.Scan{
			{Ord: uint64(i + 1), At: last, Arrived: last, Rail: math.NaN(), Raw: []float64{float64(i % 60)}}}}}, nil)
		if err != nil {
			t.Fatal(err)
		}
		if i < kept*60 {
			seconds = append(seconds, record.Point{At: last, Min: 7, Mean: 7, Max: 7})
		}
	}
	if err := j.PutHistory(t.Context(), record.Stretch{Place: ids[0], Series: ankle, Tier: record.Second, Points: seconds}); err != nil {
		t.Fatal(err)
	}
	for range 2 { // again changes nothing
		if err := Recover(t.Context(), j, plan, reviver, oneSeries, last); err != nil {
			t.Fatal(err)
		}
		minute, err := j.History(t.Context(), ids[0], ankle, record.Minute, began, began+hour, nil)
		if err != nil || len(minute) != minutes {
			t.Fatalf("%d minutes, %v", len(minute), err)
		}
		if p := minute[kept-1]; p.Min != 7 || p.Max != 7 {
			t.Errorf("a minute that was kept is %+v", p)
		}
		// Of the last, 20 seconds passed in silence, of which a value filled two.
		if p := minute[minutes-1]; p.Min != 0 || p.Max != 59 {
			t.Errorf("the minute that was made of readings is %+v", p)
		}
		known, err := j.History(t.Context(), ids[0], ankle+knownSuffix, record.Minute, began, began+hour, nil)
		if err != nil || len(known) != 1 || known[0].Mean != 42 {
			t.Errorf("known seconds: %+v, %v", known, err)
		}
		quarter, err := j.History(t.Context(), ids[0], ankle, record.Quarter, began, began+hour, nil)
		if err != nil || len(quarter) != 1 || quarter[0].Max != 59 {
			t.Errorf("the quarter is %+v, %v", quarter, err)
		}
	}
	if err := Recover(t.Context(), new(journaltest.Memory), plan, reviver, oneSeries, sample.Past); err != nil {
		t.Errorf("an empty record: %v", err)
	}
}
