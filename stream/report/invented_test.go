package report_test

import (
	"context"
	"math"
	"testing"
	"time"

	"weald/ingest/calib"
	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/journal/journaltest"
	"weald/stream/keeper"
	"weald/stream/record"
	"weald/stream/report"
	"weald/stream/view"
)

// An archive is a small record that is invented.
type archive struct {
	t *testing.T
	*journaltest.Memory
	plan  *rules.Plan
	ord   uint64
	began time.Time
}

func newArchive(t *testing.T, began time.Time, places ...rules.Place) *archive {
	above := 60.0
	return &archive{t: t, Memory: new(journaltest.Memory), began: began, plan: &rules.Plan{
		Sources: []rules.Source{
			{ID: "trolley/leg", Channels: 2, StaleAfter: 3 * time.Second, Calibrated: true, U: []float64{1.8, math.NaN()}},
			{ID: "chair/seat", Channels: 2, StaleAfter: time.Second, Calibrated: true},
		},
		Places: places,
		Rules: []rules.Rule{
			{ID: "tight", At: rules.Where{Kind: rules.Wrap}, Priority: alert.Medium, OnDelay: 10 * time.Second, ForgetAfter: 10 * time.Minute, Limit: &rules.Limit{Watch: "ankle.pressure", Above: &above}},
		},
	}}
}

func site(id string, source, index int) rules.Site {
	return rules.Site{ID: id, Channels: []rules.Channel{{Source: source, Index: index}}}
}

var (
	bench = rules.Place{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{site("ankle", 0, 0), site("calf", 0, 1)}}
	chair = rules.Place{ID: "seat-1", Kind: rules.Seat, Sites: []rules.Site{site("left", 1, 0), site("right", 1, 1)}}
)

func (a *archive) at(since time.Duration) sample.Instant { return sample.At(a.began.Add(since)) }

// reads keeps a scan of a source.
func (a *archive) reads(source string, at sample.Instant, raw ...float64) {
	a.t.Helper()
	a.ord++
	scan := record.Scan{Ord: a.ord, At: at, Arrived: at, Rail: math.NaN(), Raw: raw}
	if err := a.AppendReadings(a.t.Context(), []record.Block{{Source: source, Config: 1, Scans: []record.Scan{scan}}}, nil); err != nil {
		a.t.Fatal(err)
	}
}

func (a *archive) note(since time.Duration, place, author string, body record.Body) {
	a.t.Helper()
	e := record.Entry{At: a.at(since), Written: a.at(since), Place: place, Author: author, Body: body}
	if _, err := a.Append(a.t.Context(), e); err != nil {
		a.t.Fatal(err)
	}
}

// session begins one and, unless it lasts, ends it.
func (a *archive) session(id, place, code string, from, to time.Duration, notes string) {
	a.note(from, place, "T-1", record.Session{ID: id, What: "begun", Code: code, Config: 1, Notes: notes})
	if to > 0 {
		a.note(to, place, "T-1", record.Session{ID: id, What: "ended", Code: code, Config: 1})
	}
}

func (a *archive) source(zone *time.Location) *report.Source {
	var converters []*calib.Converter
	for _, s := range a.plan.Sources {
		c, err := calib.NewConverter(calib.MMHg, s.Channels, nil)
		if err != nil {
			a.t.Fatal(err)
		}
		converters = append(converters, c)
	}
	target := [2]float64{35, 45}
	return &report.Source{Journal: a, Zone: zone, Program: "weald 1.2.3", Setup: func(context.Context, sample.Instant) (*report.Setup, error) {
		return &report.Setup{
			Version: 1, Hash: "96559bd42d6a1d15c0ffee", Plan: a.plan, Rates: []float64{2, 5},
			Settings: []view.Setting{{Sites: map[string]view.SiteSetting{"ankle": {Target: &target}}}},
			Reviver:  func() *keeper.Reviver { return keeper.NewReviver(a.plan, converters) },
		}, nil
	}}
}
