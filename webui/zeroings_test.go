package webui

import (
	"context"
	"encoding/json"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	calibration "weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// A source that sends ten scans a second of event time until the test ends.
func (s *stack) rest(t *testing.T, source int, raw, values []float64) {
	ctx, cancel := context.WithCancel(t.Context())
	var sending sync.WaitGroup
	sending.Go(func() {
		at := s.clock.Now()
		for ctx.Err() == nil {
			at = at.Add(100 * time.Millisecond)
			_ = s.pipe.PutAndWait(ctx, &sample.Scan{Source: source, At: at, Arrived: at, Rail: 4095, Raw: raw, Values: append([]float64(nil), values...)})
		}
	})
	t.Cleanup(func() { cancel(); sending.Wait() })
}

func TestZeroingsAndChecksAreAsDocumented(t *testing.T) {
	j := new(journaltest.Memory)
	s := newRecordingStack(t, j)
	c := newContract(t, s)
	const zeroings, calibrations, checks = "/api/v1/zeroings", "/api/v1/calibrations", "/api/v1/calibrations/{calibration}/checks"
	made := s.post(calibrations, `{"bridge": "new", "source": "leg", "channel": 0, "by": "E-01", "reference": "bench gauge", "rows": `+calibrationRows(11)+`}`)
	var kept struct{ Record calibration.Record }
	if err := json.Unmarshal(made.Body.Bytes(), &kept); err != nil || made.Code != 201 {
		t.Fatalf("%v, %s", err, made.Body)
	}
	r := kept.Record
	// This stack's pipeline has no recorder.
	if _, err := j.Append(t.Context(), record.Entry{Ord: 1, At: sample.At(r.At), Author: r.By, Body: record.Calibration{Record: r}}); err != nil {
		t.Fatal(err)
	}
	s.rest(t, 2, []float64{116}, []float64{sample.Unknown}) // 2 mmHg
	check := strings.Replace(checks, "{calibration}", r.ID(), 1)
	for _, k := range []struct {
		path, asPath, body string
		status             int
		says               string
	}{
		{zeroings, zeroings, `{"bridge": "new", "source": "leg", "channels": [0], "by": "Pat Larch"}`, 422, "names are not kept"},
		{zeroings, zeroings, `{"bridge": "none", "source": "leg", "channels": [0], "by": "E-01"}`, 404, "there is no source"},
		{zeroings, zeroings, `{"bridge": "new", "source": "leg", "channels": [900], "by": "E-01"}`, 404, "does not have all of them"},
		{zeroings, zeroings, `{"bridge": "trolley", "source": "leg", "channels": [0], "by": "E-01", "undo": true}`, 201, `"undo":true`},
		{zeroings, zeroings, `{"bridge": "new", "source": "leg", "channels": [0], "by": "E-01"}`, 201, `"shown_mmhg":[`},
		{check, checks, `{"by": "E-01", "reference_mmhg": 40, "raw": 420}`, 201, `"holds":true`},
		{check, checks, `{"by": "E-01", "reference_mmhg": 40, "raw": 600}`, 201, "Calibrate this channel again"},
		{check, checks, `{"by": "E-01", "reference_mmhg": 2}`, 201, `"raw":116`},
		{check, checks, `{"by": "E-01", "reference_mmhg": 400, "raw": 600}`, 422, "300"},
		{calibrations + "/none/checks", checks, `{"by": "E-01", "reference_mmhg": 40}`, 404, "there is no calibration"},
	} {
		got := s.post(k.path, k.body)
		if got.Code != k.status || !strings.Contains(got.Body.String(), k.says) {
			t.Errorf("%s: %d, want %d with %q: %s", k.body, got.Code, k.status, k.says, got.Body)
		}
		c.checkOf("post", k.asPath, got)
	}
	if got := s.get(check); got.Code != 200 || strings.Count(got.Body.String(), `"holds"`) != 3 {
		t.Errorf("%d %s", got.Code, got.Body)
	} else {
		c.check(checks, got)
	}
	var list struct {
		InForce []struct{ MMHg float64 } `json:"in_force"`
	}
	got := s.get(zeroings)
	c.check(zeroings, got)
	if err := json.Unmarshal(got.Body.Bytes(), &list); err != nil || len(list.InForce) != 1 || math.Abs(list.InForce[0].MMHg-2) > 0.2 {
		t.Errorf("%v, %s", err, got.Body)
	}
}
