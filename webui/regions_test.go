package webui

import (
	"context"
	"fmt"
	"math"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"weald/config"
	"weald/ingest/sample"
	"weald/stream/history"
	"weald/stream/hostclock"
	"weald/stream/live"
	"weald/stream/metrics"
	"weald/stream/pipeline"
	"weald/stream/view"
	"weald/webui/api"
)

const regionsFile = `
bridges:
  - id: hub
    link: {serial: {port: /dev/null}}
    format: packed
    sources: [{number: 0, id: mat, channels: 512, rate: 1, unit: mmHg, stale_after: 1h}]
places:
  - id: bed-4
    kind: bed
    mat:
      source: hub/mat
      rows: 32
      columns: 16
      pitch_mm: [60, 55]
      head: last_row
  - {id: leg-1, kind: wrap, mat: {source: hub/mat, rows: 32, columns: 16}}
rules:
  - {id: hips, at: {place: bed-4}, limit: {watch: pelvis.peak, above: 60}, on_delay: 1h, priority: low}
`

// regionsStack is a daemon with one bed.
func regionsStack(t *testing.T) *stack {
	t.Helper()
	c, found := config.Parse("weald.yaml", []byte(regionsFile))
	if len(found) > 0 {
		t.Fatal(found)
	}
	plan := c.Plan()
	s := &stack{t: t, clock: hostclock.New(1)}
	s.pipe = pipeline.New(pipeline.Options{Plan: plan, Clock: s.clock, Views: view.New(plan, nil, time.UTC)})
	store := history.New(len(plan.Places), s.pipe.Series)
	s.pipe.Follow(store)
	hub := live.New(live.Options{Places: []live.Place{{ID: "bed-4", Rows: 32, Columns: 16}, {ID: "leg-1", Rows: 32, Columns: 16}}, Pipeline: s.pipe, Store: store, Clock: s.clock})
	delay, _ := metrics.NewDelay()
	var err error
	s.handler, err = New(Options{Hosts: []string{"example.com"},
		API:  api.Options{Plan: plan, Pipeline: s.pipe, Store: store, Bridges: func() []api.Bridge { return nil }, Draft: c},
		Live: hub, Pages: built,
		Metrics: metrics.Handler(metrics.New(metrics.Options{Plan: plan, Pipeline: s.pipe, Delay: delay, Viewers: hub, Bridges: func() []metrics.Bridge { return nil }})),
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() { s.pipe.Run(ctx); close(ended) }()
	t.Cleanup(func() { stop(); <-ended })
	return s
}

// body is invented: head, shoulders, hips and heels as bells along the bed, with
// the head at the last row.
func body() []float64 {
	out := make([]float64, 32*16)
	for i := range out {
		y, x := 31-float64(i/16), float64(i%16)
		for _, b := range [][4]float64{{30, 2, 1, 1}, {45, 8, 2, 3}, {70, 15, 2, 3}, {25, 29, 1, 2}, {12, 21, 3, 2}} {
			out[i] += b[0] * math.Exp(-((y-b[1])*(y-b[1])/(2*b[2]*b[2]) + (x-8)*(x-8)/(2*b[3]*b[3])))
		}
	}
	return out
}

type foundAnswer struct {
	YAML    string
	Found   []struct{ ID, Why string }
	Missing []struct{ ID, Why string }
	Faults  []api.Fault
}

// What is found on a bed goes into the file as it is answered, and the file is
// accepted.
func TestRegionsFoundOnABedGoIntoTheFile(t *testing.T) {
	s := regionsStack(t)
	c := newContract(t, s)
	const path, ask = "/api/v1/places/{place}/regions", "/api/v1/places/bed-4/regions"
	if rec := s.get(ask); rec.Code != 422 {
		t.Errorf("a silent mat answers %d %s", rec.Code, rec.Body)
	} else {
		c.check(path, rec)
	}
	scan := sample.Scan{At: s.clock.Now(), Arrived: s.clock.Now(), Values: body()}
	if err := s.pipe.Put(t.Context(), &scan); err != nil {
		t.Fatal(err)
	}
	for s.pipe.Load().Scans < 1 {
		time.Sleep(time.Millisecond)
	}
	c.check(path, s.get(ask))
	if rec := s.get("/api/v1/places/leg-1/regions"); rec.Code != 422 || !strings.Contains(rec.Body.String(), "no bed and no seat") {
		t.Errorf("a leg answers %d %s", rec.Code, rec.Body)
	}
	got := decoded[foundAnswer](s, ask)
	if then := decoded[foundAnswer](s, ask+"?at="+url.QueryEscape(scan.At.Time().Format(time.RFC3339Nano))); then.YAML != got.YAML {
		t.Errorf("at the scan's instant: %s, now: %s", then.YAML, got.YAML)
	}
	if len(got.Found) != 4 || len(got.Missing)+len(got.Faults) > 0 {
		t.Fatalf("%+v", got)
	}
	file := strings.Replace(regionsFile, "      head: last_row\n", "      head: last_row\n      "+strings.ReplaceAll(strings.TrimSpace(got.YAML), "\n", "\n      ")+"\n", 1)
	with, problems := config.Parse("weald.yaml", []byte(file))
	if len(problems) > 0 {
		t.Fatalf("%s\n%v", file, problems)
	}
	// The hips were drawn at row 16 of the map: 15 from the head, which is at row 31.
	for _, r := range with.Places[0].Mat.Regions {
		if r.ID == "pelvis" && (r.Rows[0] > 16 || r.Rows[1] < 16 || r.Columns[0] > 8 || r.Columns[1] < 8) {
			t.Errorf("pelvis at %v", r)
		}
	}
}

// What somebody draws is answered as text with its problems where they are, in
// the text and in the rules of the file.
func TestDrawnRegionsAreJudged(t *testing.T) {
	s := regionsStack(t)
	c := newContract(t, s)
	post := func(body string) *httptest.ResponseRecorder {
		rec := s.post("/api/v1/places/bed-4/regions", body)
		c.checkOf("post", "/api/v1/places/{place}/regions", rec)
		return rec
	}
	for _, k := range []struct{ id, faults string }{
		{"pelvis", "[]"},
		{"sacrum", `[{"of":"file","line":18,"column":51,`},
		{"Sacrum left", `[{"of":"piece","line":2,"column":10,`},
		{"mat", `[{"of":"piece","line":2,"column":10,`},
	} {
		rec := post(fmt.Sprintf(`{"regions": [{"id": %q, "rows": [3, 9], "columns": [0, 15]}]}`, k.id))
		if rec.Code != 200 || !strings.Contains(rec.Body.String(), `"faults":`+k.faults) {
			t.Errorf("%s: %d %s", k.id, rec.Code, rec.Body)
		}
	}
	if rec := post(`{"regions": [{"id": "pelvis", "rows": [3, 32], "columns": [0, 15]}]}`); !strings.Contains(rec.Body.String(), "its last is 31") {
		t.Errorf("%s", rec.Body)
	}
}

// A place set up by pressing is answered as text with its problems where they are.
func TestAPlaceSetUpByPressingIsJudged(t *testing.T) {
	s := regionsStack(t)
	c := newContract(t, s)
	for _, k := range []struct{ id, channel, faults string }{
		{"bench-9", "hub/mat/7", "[]"},
		{"bed-4", "hub/mat/7", `[{"of":"piece","line":2,"column":9,`},
		{"bench-9", "hub/mat/512", `[{"of":"piece","line":5,"column":32,`},
	} {
		rec := s.post("/api/v1/setup/place", fmt.Sprintf(`{"id": %q, "kind": "wrap", "sites": [{"id": "ankle", "channels": [%q]}]}`, k.id, k.channel))
		c.checkOf("post", "/api/v1/setup/place", rec)
		if rec.Code != 200 || !strings.Contains(rec.Body.String(), `"faults":`+k.faults) {
			t.Errorf("%s: %d %s", k.id, rec.Code, rec.Body)
		}
	}
	rec := s.post("/api/v1/setup/place", `{"id": "bed-9", "kind": "bed", "sites": [], "mat": {"source": "hub/mat", "rows": 16, "columns": 32, "head": "last_row", "seen_from": "below"}}`)
	c.checkOf("post", "/api/v1/setup/place", rec)
	if !strings.Contains(rec.Body.String(), `rows: 16, columns: 32, head: last_row, seen_from: below}\n","faults":[]`) {
		t.Errorf("%s", rec.Body)
	}
}
