package webui

import (
	"context"
	"math"
	"testing"
	"time"

	"weald/ingest/battery"
	"weald/ingest/health"
	"weald/ingest/sample"
	"weald/webui/api"
)

func TestSourcesSayWhichPlacesRestOnThem(t *testing.T) {
	s := newStack(t, built)
	s.bridges = []api.Bridge{{ID: "any", Sources: []api.Source{{ID: "trolley/leg"}, {ID: "hub/mat1"}, {ID: "new/leg"}}}}
	sources := decoded[struct{ Bridges []api.Bridge }](s, "/api/v1/bridges").Bridges[0].Sources
	leg, mat, fresh := sources[0], sources[1], sources[2]
	if len(leg.Feeds) != 1 || leg.Feeds[0].Place != "bench-1" || leg.Feeds[0].Rows != 0 || len(leg.Feeds[0].Sites) != 2 ||
		leg.Feeds[0].Sites[1].Site != "calf" || leg.Feeds[0].Sites[1].Channels[0] != 1 {
		t.Errorf("the leg feeds %+v", leg.Feeds)
	}
	if leg.Channels != 2 || leg.U == nil || *leg.U != 1.8 {
		t.Errorf("the leg has %d channels and an uncertainty of %v, want 2 and the larger of two, 1.8", leg.Channels, leg.U)
	}
	if f := mat.Feeds; len(f) != 1 || f[0].Place != "bed-4" || f[0].Rows != 2 || f[0].Columns != 3 || mat.U != nil {
		t.Errorf("the mat feeds %+v, with an uncertainty of %v", f, mat.U)
	}
	if len(fresh.Feeds) != 1 || fresh.Feeds[0].Place != "bench-2" {
		t.Errorf("the new leg feeds %+v", fresh.Feeds)
	}
}

func TestRawReadingsComeOnceSomebodyAsks(t *testing.T) {
	s := newStack(t, built)
	const path = "/api/v1/bridges/trolley/sources/leg/raw"
	put := func(raw ...float64) time.Time {
		at := s.clock.Now()
		if err := s.pipe.Put(context.Background(), &sample.Scan{At: at, Values: []float64{1, 2}, Raw: raw}); err != nil {
			t.Fatal(err)
		}
		return at.Time()
	}
	type body struct {
		At       *time.Time
		Channels []*float64
	}
	put(1, 2)
	if first := decoded[body](s, path); first.At != nil || len(first.Channels) != 0 {
		t.Errorf("before anybody had asked: %+v", first)
	}
	at := put(4095, math.NaN())
	got := decoded[body](s, path)
	if got.At == nil || !got.At.Equal(at) || len(got.Channels) != 2 || got.Channels[0] == nil || *got.Channels[0] != 4095 || got.Channels[1] != nil {
		t.Errorf("after a scan at %v: %+v", at, got)
	}
}

func TestWhatIsSaidOfChannelsAndBattery(t *testing.T) {
	now := sample.At(time.Date(2025, 11, 24, 12, 0, 0, 0, time.UTC))
	h := api.HealthOf(&health.Report{
		Channels: 6, Mat: true, Stuck: 1, LeftOut: 1, Untried: 2,
		Findings: []health.Finding{{Channel: 4, Row: 1, Column: 1, State: health.Stuck, Since: now.Add(-time.Hour), At: now, Reading: 12, Trials: 7, LeftOut: true}},
	})
	if h.Text == "" || h.LeftOut != 1 || h.Untried != 2 || len(h.Findings) != 1 {
		t.Fatalf("%+v", h)
	}
	if f := h.Findings[0]; f.Channel != 4 || f.State != "stuck" || !f.LeftOut || f.Text == "" || !f.Since.Equal(now.Add(-time.Hour).Time()) {
		t.Errorf("%+v", f)
	}
	var v api.Source
	v.SetBattery(&battery.Estimate{State: battery.Falling, Percent: 12, MV: -1, Now: now, Fresh: sample.Past, Left: 9 * time.Hour, Least: 8 * time.Hour, Most: 10 * time.Hour})
	if v.BatteryState != "falling" || v.BatteryText != "Battery 12 %, about 9 h left." || v.BatteryLeftS == nil || *v.BatteryLeftS != 9*3600 {
		t.Errorf("%s %q %v", v.BatteryState, v.BatteryText, v.BatteryLeftS)
	}
	v.SetBattery(&battery.Estimate{State: battery.Falling, Percent: 90, MV: -1, Now: now, Fresh: sample.Past, Left: battery.Unlimited, Least: time.Hour, Most: battery.Unlimited})
	if v.BatteryLeftS != nil {
		t.Errorf("without an upper end: %v s left", *v.BatteryLeftS)
	}
}
