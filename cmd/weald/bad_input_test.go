package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weald/ingest/emulate"
	"weald/ingest/frame"
)

const badConfig = `
web: {listen: "127.0.0.1:0"}
bridges:
  - id: trolley
    link: {serial: {port: %s}}
    format: line
    sources:
      - {number: 0, id: leg, channels: 2, rate: 10, unit: mmHg}
places:
  - id: bench-1
    kind: wrap
    sites:
      - {id: ankle, channels: [trolley/leg/0, trolley/leg/1]}
rules:
  - {id: tight, limit: {watch: ankle.pressure, above: 60}, on_delay: 1s, priority: high}
`

type bridges struct {
	Bridges []struct {
		ID, State, Trouble string
		Connections        uint64
		Frames             uint64
	}
}

// says waits until the bridge, and readiness, say something.
func says(t *testing.T, address, what string) {
	t.Helper()
	eventually(t, longEnough, func() error {
		b, err := get[bridges](address, "/api/v1/bridges")
		if err != nil {
			return err
		}
		if !strings.Contains(b.Bridges[0].Trouble, what) {
			return fmt.Errorf("the bridge says %q, want %q", b.Bridges[0].Trouble, what)
		}
		if answer := text(t, address, "/readyz"); !strings.Contains(answer, "trolley") || !strings.Contains(answer, `"ready":false`) {
			return fmt.Errorf("/readyz says %s", answer)
		}
		return nil
	})
}

// A port that does not exist, appears, delivers, vanishes and comes back is
// said each time, and healed without a restart.
func TestAPortThatComesAndGoes(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "trolley")
	address := start(t, "run", "-c", write(t, "bad.yaml", fmt.Sprintf(badConfig, path)))
	says(t, address, "no such port")

	port, err := emulate.NewPort(path)
	if err != nil {
		t.Fatal(err)
	}
	defer port.Close()
	began := time.Now()
	last := int64(-1)
	well := func() {
		t.Helper()
		eventually(t, longEnough, func() error {
			if tenth := time.Since(began).Milliseconds() / 100; tenth > last { // ten scans a second
				last = tenth
				b, err := frame.AppendLine(nil, &frame.Frame{Kind: frame.Readings, Seq: uint32(tenth), Millis: uint32(tenth) * 100, Readings: []float64{30, 32}})
				if err != nil {
					t.Fatal(err)
				}
				if _, err := port.Write(b); err != nil {
					return err
				}
			}
			if answer := text(t, address, "/readyz"); !strings.Contains(answer, `"ready":true`) {
				return fmt.Errorf("/readyz says %s", answer)
			}
			return nil
		})
	}
	well()
	port.Unplug()
	says(t, address, "port")
	if err := port.Plug(); err != nil {
		t.Fatal(err)
	}
	well()
}

// Noise, and the other format, are recognised for what they are.
func TestNoiseAndTheOtherFormatAreSaid(t *testing.T) {
	t.Parallel()
	port, err := emulate.NewPort(filepath.Join(t.TempDir(), "trolley"))
	if err != nil {
		t.Fatal(err)
	}
	defer port.Close()
	address := start(t, "run", "-c", write(t, "bad.yaml", fmt.Sprintf(badConfig, port.Path())))
	stop := make(chan struct{})
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		var buf []byte
		for seq := uint32(0); ; seq++ {
			buf, _ = frame.AppendWire(buf[:0], &frame.Frame{Kind: frame.Readings, Seq: seq, Millis: seq * 100, Readings: []float64{1, 2}}, frame.U12)
			if _, err := port.Write(buf); err != nil {
				return
			}
			select {
			case <-stop:
				return
			case <-time.After(50 * time.Millisecond):
			}
		}
	}()
	says(t, address, "packed")
	close(stop)
	<-ended

	metrics := text(t, address, "/metrics")
	if !strings.Contains(metrics, `weald_frames_bad_total{bridge="trolley"`) {
		t.Error("the metrics do not count the refused frames")
	}
	if got, err := get[struct{ Alerts []any }](address, "/api/v1/alerts"); err != nil || len(got.Alerts) != 0 {
		t.Errorf("noise raised %v (%v)", got, err)
	}
}
