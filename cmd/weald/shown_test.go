package main

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"weald/stream/view"
)

// A centre shows readings as the ward has them, by asking it, over the link; without one it
// shows no number of before as if it were of now, and the ward goes on.
func TestACentreShowsReadings(t *testing.T) {
	t.Parallel()
	p := newPlain(t)
	ward, centre := launch(t, p.ward), launch(t, p.centre)
	type places struct{ Places []view.Place }
	ankle := func(v *victim) (*view.Signal, error) {
		got, err := get[places](v.address, "/api/v1/places")
		if err != nil {
			return nil, err
		}
		if len(got.Places) != 1 || got.Places[0].ID != "bench-1" {
			return nil, fmt.Errorf("places are %+v", got)
		}
		s, ok := got.Places[0].Signals["ankle.pressure"]
		if !ok {
			return nil, fmt.Errorf("nothing is known: %s", got.Places[0].Text)
		}
		return &s, nil
	}
	reads := func(v *victim, want float64) {
		t.Helper()
		eventually(t, longEnough, func() error {
			s, err := ankle(v)
			if err == nil && (s.Value == nil || *s.Value != want) {
				err = fmt.Errorf("the ankle has %v", s)
			}
			if err == nil && time.Since(*s.At) > 5*time.Second {
				err = fmt.Errorf("it is of %v", s.At)
			}
			return err
		})
	}
	reads(ward, 70)
	reads(centre, 70)
	saysSoon(t, centre, "/", "Readings", "ankle.pressure 70 mmHg", "calf.pressure 30 mmHg")
	p.link.Cut()
	eventually(t, longEnough, func() error {
		if s, err := ankle(centre); err == nil {
			return fmt.Errorf("without a link it shows %+v", s)
		}
		return nil
	})
	saysSoon(t, centre, "/", "not known: the ward does not say")
	if page := text(t, centre.address, "/"); strings.Contains(page, "ankle.pressure") {
		t.Errorf("a number of before is shown: %s", page)
	}
	p.tight.Store(true)
	reads(ward, 30)
	p.link.Mend()
	reads(centre, 30)
	ward.end()
	eventually(t, longEnough, func() error {
		if _, err := ankle(centre); err == nil {
			return fmt.Errorf("readings of a ward that has ended")
		}
		return nil
	})
	centre.end()
}
