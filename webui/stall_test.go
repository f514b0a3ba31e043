package webui

import (
	"context"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
	"weald/stream/view"
)

// put feeds a scan whose event time is that much ahead of its arrival.
func (s *stack) put(source int, ahead time.Duration, values ...float64) {
	s.t.Helper()
	now := s.clock.Now()
	scan := sample.Scan{Source: source, At: now.Add(ahead), Arrived: now, Values: values}
	if err := s.pipe.Put(context.Background(), &scan); err != nil {
		s.t.Fatal(err)
	}
	synctest.Wait()
}

func (s *stack) reasons() []string {
	s.t.Helper()
	var body struct{ Reasons []string }
	if err := json.Unmarshal(s.get("/readyz").Body.Bytes(), &body); err != nil {
		s.t.Fatal(err)
	}
	return body.Reasons
}

// One scan from the future makes all that follow late. Whoever asks is told that
// nothing is known, and why.
func TestPlaceWhoseTimeStandsStillHasNoValues(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStack(t, built)
		s.put(1, 24*time.Hour, 10, 20, 30, 40, 50, 60)
		cell := func() any { return decoded[object](s, "/api/v1/places/bed-4/map")["cells"].([]any)[0] }
		reason := "place bed-4: " + view.NoneNewer
		if got := cell(); got != 10.0 {
			t.Errorf("at first the first cell is %v, want 10", got)
		}
		if slices.Contains(s.reasons(), reason) {
			t.Errorf("not ready at once: %q", s.reasons())
		}
		for range 13 {
			time.Sleep(10 * time.Minute)
			s.put(1, 0, 70, 70, 70, 70, 70, 70)
		}
		if got := cell(); got != nil {
			t.Errorf("two hours later the first cell is %v, want null", got)
		}
		if !slices.Contains(s.reasons(), reason) {
			t.Errorf("ready but for %q, want %q among them", s.reasons(), reason)
		}
		if place := decoded[object](s, "/api/v1/places/bed-4"); place["state"] != view.StateUnknown || place["text"] != view.NoneNewer {
			t.Errorf("the place is %s: %s", place["state"], place["text"])
		}
		metrics := s.get("/metrics").Body.String()
		if !strings.Contains(metrics, `weald_region_known{place="bed-4",region="heels"} 0`) || strings.Contains(metrics, `weald_region_peak_mmhg{place="bed-4"`) {
			t.Error("Prometheus is told a pressure of the mat")
		}
	})
}

func TestSourceWithoutAValidReadingIsNotReady(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStack(t, built)
		nan := math.NaN()
		const reason = "source trolley/leg delivers scans without a single valid reading"
		s.put(0, 0, nan, nan)
		if !slices.Contains(s.reasons(), reason) {
			t.Errorf("ready but for %q, want %q among them", s.reasons(), reason)
		}
		s.put(0, 0, nan, 22)
		if slices.Contains(s.reasons(), reason) {
			t.Errorf("with a reading it is still said that %q", reason)
		}
	})
}

// A map of the past is one of that time: in a silence there is none.
func TestNoMapFromBeforeASilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStack(t, built)
		began := s.clock.Now()
		s.put(1, 0, 10, 20, 30, 40, 50, 60)
		time.Sleep(3 * time.Hour) // values last for one
		s.put(1, 0, 11, 20, 30, 40, 50, 60)
		time.Sleep(time.Minute)
		for after, want := range map[time.Duration]any{
			-time.Second: nil, 0: 10.0, 59 * time.Minute: 10.0, 61 * time.Minute: nil, 179 * time.Minute: nil,
			3*time.Hour + 30*time.Second: 11.0, 5 * time.Hour: nil,
		} {
			rec := s.get("/api/v1/places/bed-4/map?at=" + began.Add(after).String())
			var body struct{ Cells []any }
			if err := json.Unmarshal(rec.Body.Bytes(), &body); err != nil {
				t.Fatal(err)
			}
			switch {
			case want == nil && rec.Code != 404:
				t.Errorf("after %v: %d with %v, want no map", after, rec.Code, body.Cells)
			case want != nil && (rec.Code != 200 || body.Cells[0] != want):
				t.Errorf("after %v: %d with %v, want a first cell of %v", after, rec.Code, body.Cells, want)
			}
		}
	})
}

// An alert that loses its signal has the mat evaluated without a scan. What was
// measured before stays a map of its time, and of no later one.
func TestNoMapOnceAnAlertHasLostItsMat(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStack(t, built)
		began := s.clock.Now()
		for range 3 {
			s.put(1, 0, 70, 20, 30, 40, 50, 60)
			time.Sleep(40 * time.Minute)
		}
		time.Sleep(3 * time.Hour)
		if alerts := decoded[object](s, "/api/v1/alerts")["alerts"].([]any); len(alerts) != 1 || alerts[0].(object)["signal_known"] != false {
			t.Fatalf("alerts %v, want one that has lost its signal", alerts)
		}
		for after, want := range map[time.Duration]int{80 * time.Minute: 200, 130 * time.Minute: 200, 150 * time.Minute: 404, 4 * time.Hour: 404} {
			if rec := s.get("/api/v1/places/bed-4/map?at=" + began.Add(after).String()); rec.Code != want {
				t.Errorf("after %v: %d, want %d: %s", after, rec.Code, want, rec.Body)
			}
		}
	})
}
