package report_test

import (
	"regexp"
	"testing"
	"time"

	"weald/ingest/emulate"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/report"
	"weald/stream/report/paper"
)

// A night is from 20:00 to 8:00 of the zone, also when clocks are put forward in it.
func TestTheLastNight(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Vienna")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		now, from string
		lasts     time.Duration
	}{
		{"2026-03-02T09:00:00+01:00", "2026-03-01T20:00:00+01:00", 12 * time.Hour},
		{"2026-03-02T19:59:59+01:00", "2026-03-01T20:00:00+01:00", 12 * time.Hour},
		{"2026-03-02T20:00:00+01:00", "2026-03-02T20:00:00+01:00", 12 * time.Hour},
		{"2026-03-29T09:00:00+02:00", "2026-03-28T20:00:00+01:00", 11 * time.Hour}, // EU Directive 2000/84/EC: the last Sunday of March
	} {
		now, _ := time.Parse(time.RFC3339, c.now)
		from, to := report.LastNight(now.In(zone))
		if want, _ := time.Parse(time.RFC3339, c.from); from != sample.At(want) || to.Sub(from) != c.lasts {
			t.Errorf("at %s it is %v for %v, want %s for %v", c.now, from.Time().In(zone), to.Sub(from), c.from, c.lasts)
		}
	}
}

// A night in an invented bed: who lies there is turned three times, and the bridge is
// silent for two minutes. What the report says is what the story is.
func TestNight(t *testing.T) {
	const rows, columns = 64, 32
	place := rules.Place{ID: "bed-4", Kind: rules.Bed, Mat: &rules.Mat{Source: 0, Rows: rows, Columns: columns, PitchMM: [2]float64{30, 28}, LoadedAbove: 20,
		Regions: []rules.Region{{ID: "heels", Cells: []int{60*columns + 8, 60*columns + 9}}}}}
	a := newArchive(t, evening, place)
	a.plan.Sources = []rules.Source{{ID: "hub/mat4", Channels: rows * columns, StaleAfter: 5 * time.Second, Calibrated: true}}
	lies := []emulate.Lie{{Posture: emulate.Supine, For: 8 * time.Minute}, {Posture: emulate.OnLeft, For: 9 * time.Minute}, {Posture: emulate.OnRight, For: 7 * time.Minute}, {Posture: emulate.Supine, For: 6 * time.Minute}}
	body := emulate.NewBed(rows, columns, 1, lies, 1)
	const silent, speaks, end = 20 * time.Minute, 22 * time.Minute, 30 * time.Minute
	for since := time.Duration(0); since < end; since += 2 * time.Second {
		cells := make([]float64, rows*columns)
		if body.At(since, cells); since < silent || since >= speaks {
			a.reads("hub/mat4", a.at(since), cells...)
		}
	}
	a.session("s-one", "bed-4", "K-21", 0, 0, "")
	d, err := a.source(time.UTC).Night(t.Context(), "bed-4", sample.Past, sample.Never)
	p := newLook(written(t, d, err))
	// The night began two hours before the readings did, and the report ends with them.
	p.has(t, "Night in bed-4, 1 March 2026")
	p.has(t, "person K-21")
	p.has(t, "In bed for "+paper.Lasting(end-(speaks-silent)+3*time.Second-2*time.Second)+": 3 turns.")
	known := end - (speaks - silent) + time.Second
	p.has(t, "observed "+paper.Share(known, 2*time.Hour+end-2*time.Second)+" of the time")
	turned := regexp.MustCompile(`turned at after (?:1 Mar (\d\d:\d\d:\d\d) \S+(?: min)?(?: \d+ s)? ?)(?:1 Mar (\d\d:\d\d:\d\d) .*?)(?:1 Mar (\d\d:\d\d:\d\d))`).FindStringSubmatch(string(p))
	for i, want := range []time.Duration{8 * time.Minute, 17 * time.Minute, 24 * time.Minute} {
		if turned == nil {
			t.Fatalf("no three turns: %s", p)
		}
		if got, _ := time.Parse(time.TimeOnly, turned[i+1]); got.Sub(time.Date(0, 1, 1, 22, 0, 0, 0, time.UTC)) < want-2*time.Second || got.Sub(time.Date(0, 1, 1, 22, 0, 0, 0, time.UTC)) > want+20*time.Second {
			t.Errorf("turn %d at %s, the story has it at %v after ten", i+1, turned[i+1], want)
		}
	}
}

// Of a night in which the mat said nothing, nothing is 0 s: not even how long a position was not sure.
func TestANightOfWhichNothingIsKnown(t *testing.T) {
	const rows, columns = 64, 32
	place := rules.Place{ID: "bed-4", Kind: rules.Bed, Mat: &rules.Mat{Source: 0, Rows: rows, Columns: columns, PitchMM: [2]float64{30, 28}, LoadedAbove: 20}}
	a := newArchive(t, evening, place)
	a.plan.Sources = []rules.Source{{ID: "hub/mat4", Channels: rows * columns, StaleAfter: 5 * time.Second, Calibrated: true}}
	cells := make([]float64, rows*columns)
	for i := range cells {
		cells[i] = sample.Unknown
	}
	for since := time.Duration(0); since < time.Minute; since += 2 * time.Second {
		a.reads("hub/mat4", a.at(since), cells...)
	}
	d, err := a.source(time.UTC).Night(t.Context(), "bed-4", sample.Past, sample.Never)
	p := newLook(written(t, d, err))
	p.has(t, "in bed not known")
	p.has(t, "position not sure not known")
}
