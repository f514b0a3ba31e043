package webui

import (
	"context"
	"io/fs"
	"math"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/history"
	"weald/stream/hostclock"
	"weald/stream/live"
	"weald/stream/metrics"
	"weald/stream/pipeline"
	"weald/stream/view"
	"weald/webui/api"
)

// A stack is a daemon without bridges behind its HTTP interface.
type stack struct {
	t       testing.TB
	clock   *hostclock.Clock
	pipe    *pipeline.Pipeline
	store   *history.Store
	handler http.Handler
	options Options // of which the handler was made

	// What the tests make of bridges and the clock; set before asking.
	bridges  []api.Bridge
	troubles []string
}

var built = fstest.MapFS{
	".keep":              {},
	"index.html":         {Data: []byte("<!doctype html><title>weald</title>")},
	"icon.svg":           {Data: []byte("<svg/>")},
	"seat/index.html":    {Data: []byte("<!doctype html><title>My seat</title>")},
	"seat.webmanifest":   {Data: []byte("{}")},
	"assets/a-1b2c3d.js": {Data: make([]byte, 4000)},
}

func wardPlan() *rules.Plan {
	above := 60.0
	return &rules.Plan{
		Sources: []rules.Source{
			{ID: "trolley/leg", Channels: 2, StaleAfter: time.Hour, Calibrated: true, U: []float64{1.8, 0.9}},
			{ID: "hub/mat1", Channels: 6, StaleAfter: time.Hour, Calibrated: true},
			{ID: "new/leg", Channels: 1, StaleAfter: time.Hour},
		},
		Places: []rules.Place{
			{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{
				{ID: "ankle", Channels: []rules.Channel{{Source: 0, Index: 0}}},
				{ID: "calf", Channels: []rules.Channel{{Source: 0, Index: 1}}},
			}},
			{ID: "bed-4", Kind: rules.Bed, Mat: &rules.Mat{
				Source: 1, Rows: 2, Columns: 3, PitchMM: [2]float64{25, 25}, LoadedAbove: 20,
				Regions: []rules.Region{{ID: "heels", Cells: []int{3, 4, 5}}},
			}},
			{ID: "bench-2", Kind: rules.Wrap, Sites: []rules.Site{{ID: "ankle", Channels: []rules.Channel{{Source: 2}}}}},
		},
		Rules: []rules.Rule{
			{ID: "tight", At: rules.Where{Kind: rules.Wrap}, Priority: alert.Medium, ForgetAfter: time.Hour, Limit: &rules.Limit{Watch: "ankle.pressure", Above: &above}},
			{ID: "loaded", Priority: alert.Low, OnDelay: time.Hour, ForgetAfter: time.Hour, Limit: &rules.Limit{Watch: "mat.pressure", Above: &above}},
		},
	}
}

func newStack(t testing.TB, pages fs.FS) *stack {
	t.Helper()
	height := 12.0
	return newStackOf(t, pages, wardPlan(), []view.Setting{{Sites: map[string]view.SiteSetting{"ankle": {HeightCM: &height, Target: &[2]float64{35, 45}}}}})
}

// newStackOf is a stack of another plan.
func newStackOf(t testing.TB, pages fs.FS, plan *rules.Plan, settings []view.Setting, with ...func(*Options)) *stack {
	t.Helper()
	s := &stack{t: t, clock: hostclock.New(1)}
	s.pipe = pipeline.New(pipeline.Options{Plan: plan, Clock: s.clock, Views: view.New(plan, settings, time.UTC)})
	s.store = history.New(len(plan.Places), s.pipe.Series)
	s.pipe.Follow(s.store)
	places := make([]live.Place, len(plan.Places))
	for i, p := range plan.Places {
		if places[i].ID = p.ID; p.Mat != nil {
			places[i].Rows, places[i].Columns = p.Mat.Rows, p.Mat.Columns
		}
	}
	hub := live.New(live.Options{Places: places, Pipeline: s.pipe, Store: s.store, Clock: s.clock})
	s.pipe.Follow(hub)
	delay, _ := metrics.NewDelay()
	s.options = Options{
		API: api.Options{
			Plan: plan, Pipeline: s.pipe, Store: s.store, Version: "test",
			Bridges:  func() []api.Bridge { return s.bridges },
			Troubles: func() []string { return s.troubles },
		},
		Live: hub, Pages: pages, Hosts: []string{"example.com"}, // whom httptest asks for
		Metrics: metrics.Handler(metrics.New(metrics.Options{
			Plan: plan, Pipeline: s.pipe, Delay: delay, Viewers: hub,
			Bridges: func() []metrics.Bridge { return nil },
		})),
	}
	for _, f := range with {
		f(&s.options)
	}
	var err error
	s.handler, err = New(s.options)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	var running sync.WaitGroup
	running.Go(func() { s.pipe.Run(ctx) })
	running.Go(func() { hub.Run(ctx) })
	t.Cleanup(func() { stop(); running.Wait() })
	return s
}

// feed gives the wrap an ankle of 70 mmHg, which raises an alert, and no calf,
// and the bed five cells and one that is unknown.
func (s *stack) feed() {
	nan := math.NaN()
	for _, scan := range []sample.Scan{
		{Source: 0, Values: []float64{70, nan}},
		{Source: 1, Values: []float64{10, 20, 30, 40.5, 50, nan}},
	} {
		scan.At, scan.Arrived = s.clock.Now(), s.clock.Now()
		if err := s.pipe.Put(context.Background(), &scan); err != nil {
			s.t.Fatal(err)
		}
	}
	for s.pipe.Load().Scans < 2 {
		time.Sleep(time.Millisecond)
	}
}

func (s *stack) get(path string) *httptest.ResponseRecorder {
	return s.do(httptest.NewRequest(http.MethodGet, path, nil))
}

func (s *stack) do(r *http.Request) *httptest.ResponseRecorder {
	rec := httptest.NewRecorder()
	s.handler.ServeHTTP(rec, r)
	return rec
}

// trolley is a bridge that fares well.
func trolley() api.Bridge {
	now, rate := time.Now().UTC(), 9.98
	return api.Bridge{
		ID: "trolley", Link: "/dev/ttyACM0", Format: "line", State: "open", Since: &now, Frames: 12, LastFrameAt: &now,
		Bad: map[string]uint64{"checksum": 1},
		Sources: []api.Source{{
			ID: "trolley/leg", Frames: 12, Rate: &rate, LastScanAt: &now, Calibrated: true, Unit: "counts",
			Health: &api.Health{Text: "1 of 2 channels is stuck.", Findings: []api.Finding{{Channel: 1, State: "stuck", Since: &now}}},
		}},
		Capture:  &api.Capture{File: "trolley.wcap", Bytes: 300},
		Messages: &api.Messages{Offered: 14, Duplicates: 1, Dropped: map[string]uint64{"retained": 2}},
		UnknownSources: []api.UnknownSource{{
			Number: 7, Frames: 1, FirstAt: now, LastAt: now, Channels: 4,
			FirstReadings: []*float64{&rate, nil}, Readings: []*float64{nil, &rate},
		}},
	}
}
