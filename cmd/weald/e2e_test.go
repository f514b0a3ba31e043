package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"weald/ingest/frame"
	"weald/webui/api"
)

// hubConfig has a hub with two sources, a limb on each, and a rule for each
// limb. What is to be filled in: more at the top, the link, the format.
const hubConfig = `
web: {listen: "127.0.0.1:0"}
%s
bridges:
  - id: hub
    link: {%s}
    format: %s
    sources:
      - {number: 1, id: leg, channels: 2, rate: 10, unit: mmHg}
      - {number: 2, id: arm, channels: 2, rate: 10, unit: mmHg}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0, hub/leg/1]}]}
  - {id: bench-2, kind: wrap, sites: [{id: wrist, channels: [hub/arm/0, hub/arm/1]}]}
rules:
  - {id: leg-tight, limit: {watch: ankle.pressure, above: 60}, on_delay: 1s, priority: high}
  - {id: arm-tight, limit: {watch: wrist.pressure, above: 60}, on_delay: 1s, priority: high}
`

// A device makes a scan of two readings of each of its sources every 100 ms by
// its own counter.
type device struct {
	began time.Time
	tenth int64
	seqs  map[uint16]uint32
}

func newDevice() *device {
	return &device{began: time.Now(), tenth: -1, seqs: map[uint16]uint32{}}
}

// next returns the frames that are due of the given sources; none most of the
// time.
func (d *device) next(pressure float64, sources ...uint16) (due []*frame.Frame) {
	tenth := time.Since(d.began).Milliseconds() / 100
	if tenth == d.tenth {
		return nil
	}
	d.tenth = tenth
	for _, n := range sources {
		due = append(due, &frame.Frame{
			Kind: frame.Readings, Source: n, Seq: d.seqs[n], Millis: uint32(tenth) * 100, Readings: []float64{pressure, pressure + 2},
		})
		d.seqs[n]++
	}
	return due
}

// sent is how many frames of a source were made.
func (d *device) sent(source uint16) float64 { return float64(d.seqs[source]) }

// until sends frames of the sources until done returns nil.
func (d *device) until(t *testing.T, send func(*frame.Frame), done func() error, pressure float64, sources ...uint16) {
	t.Helper()
	eventually(t, longEnough, func() error {
		for _, f := range d.next(pressure, sources...) {
			send(f)
		}
		return done()
	})
}

// bridge returns what the API says of one bridge.
func bridge(address, id string) (api.Bridge, error) {
	got, err := get[struct{ Bridges []api.Bridge }](address, "/api/v1/bridges")
	if err != nil {
		return api.Bridge{}, err
	}
	i := slices.IndexFunc(got.Bridges, func(b api.Bridge) bool { return b.ID == id })
	if i < 0 {
		return api.Bridge{}, fmt.Errorf("there is no bridge %s in %+v", id, got)
	}
	return got.Bridges[i], nil
}

// troubled returns a check that a bridge and readiness say something.
func troubled(t *testing.T, address, id, what string) func() error {
	return func() error {
		b, err := bridge(address, id)
		if err != nil {
			return err
		}
		ready := text(t, address, "/readyz")
		if !strings.Contains(b.Trouble, what) || b.TroubleSince == nil || !strings.Contains(ready, what) || !strings.Contains(ready, "bridge "+id) {
			return fmt.Errorf("bridge %s (%s) says %q since %v and readiness %s, want %q", id, b.State, b.Trouble, b.TroubleSince, ready, what)
		}
		return nil
	}
}

// well returns a check that the daemon is ready.
func well(t *testing.T, address string) func() error {
	return func() error {
		if ready := text(t, address, "/readyz"); !strings.Contains(ready, `"ready":true`) {
			return fmt.Errorf("readiness says %s", ready)
		}
		return nil
	}
}

// raised returns a check that exactly the given rules have raised an alert.
func raised(address string, rules ...string) func() error {
	return func() error {
		got, err := get[struct {
			Alerts []struct{ Rule, State string }
		}](address, "/api/v1/alerts?state=unacknowledged")
		if err != nil {
			return err
		}
		var have []string
		for _, a := range got.Alerts {
			have = append(have, a.Rule)
		}
		slices.Sort(have)
		if !slices.Equal(have, rules) {
			return fmt.Errorf("alerts of %v, want %v", have, rules)
		}
		return nil
	}
}

// counted returns a check that the metrics have the given values.
func counted(t *testing.T, address string, want map[string]float64) func() error {
	return metered(t, address, want, func(got, want float64) bool { return got == want })
}

// reached is counted, of what goes on being counted.
func reached(t *testing.T, address string, want map[string]float64) func() error {
	return metered(t, address, want, func(got, want float64) bool { return got >= want })
}

func metered(t *testing.T, address string, want map[string]float64, enough func(got, want float64) bool) func() error {
	return func() error {
		metrics := text(t, address, "/metrics")
		for series, value := range want {
			got, found := -1.0, false
			for line := range strings.Lines(metrics) {
				if rest, ok := strings.CutPrefix(line, series+" "); ok {
					got, _ = strconv.ParseFloat(strings.TrimSpace(rest), 64)
					found = true
				}
			}
			if !found || !enough(got, value) {
				return fmt.Errorf("%s is %v, want %v", series, got, value)
			}
		}
		return nil
	}
}
