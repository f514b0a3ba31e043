package excerpt

import (
	"math"
	"testing"
	"time"

	"weald/ingest/calib"
	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
	calibration "weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/export"
	"weald/stream/journal/journaltest"
	"weald/stream/keeper"
	"weald/stream/record"
)

// A calibration that is put into force halfway counts from there on, and so in
// each of several passes; what they say of a value beside it comes along.
func TestCalibrationsCountFromTheirInstantOn(t *testing.T) {
	line, err := curve.New(curve.Line, 0, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	began := sample.At(time.Date(2026, 3, 1, 22, 0, 0, 0, time.UTC))
	at := func(s int) sample.Instant { return began.Add(time.Duration(s) * time.Second) }
	made := calibration.Record{
		Version: calibration.Version, Bridge: "trolley", Source: "leg", At: at(5).Time(), By: "K-07",
		Rows: []figures.Row{{}}, Verdict: calibration.Accepted, ValidUntil: at(5).Time().AddDate(1, 0, 0),
		Calibration: curve.Calibration{
			Version: curve.Version, Loading: line, Width: 1,
			Raw: curve.Range{Low: 100, High: 900}, MMHg: curve.Range{Low: 10, High: 90},
			U: curve.Uncertainty{At: []float64{0, 100}, Fit: []float64{1, 1}, Hysteresis: []float64{0, 0}, Repeatability: []float64{0, 0}},
		},
	}
	j := new(journaltest.Memory)
	ord := uint64(0)
	for s := range 10 {
		if s == 5 {
			ord++
			if _, err := j.Append(t.Context(), record.Entry{Ord: ord, At: at(5), Written: at(5), Body: record.Calibration{Record: made}}); err != nil {
				t.Fatal(err)
			}
		}
		ord++
		raw := 400.0
		if s == 9 { // beyond what was calibrated
			raw = 950
		}
		if err := j.AppendReadings(t.Context(), []record.Block{{Source: "trolley/leg", Config: 1, Scans: []record.Scan{
			{Ord: ord, At: at(s), Arrived: at(s), Rail: 1000, Raw: []float64{raw}}}}}, nil); err != nil {
			t.Fatal(err)
		}
	}
	plan := &rules.Plan{
		Sources: []rules.Source{{ID: "trolley/leg", Channels: 1, StaleAfter: 3 * time.Second}},
		Places:  []rules.Place{{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{{ID: "ankle", Channels: []rules.Channel{{}}}}}},
	}
	converter, err := calib.NewConverter(calib.Counts, 1, []calib.Line{calib.None})
	if err != nil {
		t.Fatal(err)
	}
	x, err := New(t.Context(), j, plan, func() *keeper.Reviver { return keeper.NewReviver(plan, []*calib.Converter{converter}) },
		[]float64{1}, 0, sample.Past, sample.Never)
	if err != nil {
		t.Fatal(err)
	}
	r, err := x.Recording()
	if err != nil {
		t.Fatal(err)
	}
	for pass := range 2 {
		known := 0
		for row, err := range r.Tracks[0].Rows {
			if err != nil {
				t.Fatal(err)
			}
			v := row.Values[0]
			want, doubt := 40.0, export.Doubt(0)
			if row.At == at(9) {
				want, doubt = 95, export.Extrapolated
			}
			if before := row.At < at(5); before != (v != v) || !before && math.Abs(v-want) > 0.1 {
				t.Errorf("pass %d: %v s after the beginning it is %v", pass, row.At.Sub(began), v)
			}
			if u := row.U[0]; v == v && !(u >= 1) || v != v && u == u || row.Doubts[0] != doubt {
				t.Errorf("pass %d: %v s after the beginning it is %v ± %v, in doubt for %d", pass, row.At.Sub(began), v, u, row.Doubts[0])
			}
			if v == v {
				known++
			}
		}
		if known != 5 {
			t.Errorf("pass %d: %d values are known, want 5", pass, known)
		}
	}
}
