package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest/frame"
	"weald/ingest/tcp/wire/wiretest"
)

const uncalibratedConfig = `
web: {listen: "127.0.0.1:0"}
data: %s
bridges:
  - {id: hub, link: {tcp: {dial: %q}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 10}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0]}]}
rules:
  - {id: tight, limit: {watch: ankle.pressure, above: 60}, on_delay: 1s, priority: high}
`

// kneeTable is of a sensor with 100 counts at rest and 8 a mmHg.
func kneeTable() string {
	var b strings.Builder
	b.WriteString("reference_mmhg,raw,cycle,direction\n")
	for cycle := 1; cycle <= 2; cycle++ {
		for p := 0; p <= 100; p += 10 {
			fmt.Fprintf(&b, "%d,%d,%d,up\n", p, 100+8*p+(p/10)%2, cycle)
		}
		for p := 100; p >= 0; p -= 10 {
			fmt.Fprintf(&b, "%d,%d,%d,down\n", p, 100+8*p-(p/10)%2, cycle)
		}
	}
	return b.String()
}

// A fit is put into force at a running daemon: values rest on it from the next
// scan on, after a restart too, and a rehearsal of the record says the same. What was
// refused changes nothing, and a calibration that goes on outlives the daemon.
func TestACalibrationComesIntoForce(t *testing.T) {
	t.Parallel()
	port := wiretest.Listen(t)
	data := t.TempDir()
	config := write(t, "hub.yaml", fmt.Sprintf(uncalibratedConfig, data, port.Addr()))
	table := write(t, "leg-0.csv", kneeTable())
	few := write(t, "leg-0-few.csv", "reference_mmhg,raw\n0,100\n50,700\n100,1300\n")
	fitOf := func(table, channel, by string) []string {
		return []string{"calibrate", "fit", "--table", table, "--keep", config, "--channel", channel, "--by", by, "--reference", "bench gauge"}
	}
	fit := func(channel, by string) []string { return fitOf(table, channel, by) }
	said := func(args ...string) (string, int) {
		var stderr bytes.Buffer
		code := run(t.Context(), args, io.Discard, &stderr)
		return stderr.String(), code
	}
	if text, code := said(fit("hub/leg/0", "E-01")...); code != 1 || !strings.Contains(text, "no daemon runs with it") {
		t.Errorf("without a daemon: status %d, %s", code, text)
	}
	ankle := func(address string) (*float64, error) {
		p, err := get[struct {
			Signals map[string]struct {
				Value, U *float64
			}
		}](address, "/api/v1/places/bench-1")
		return p.Signals["ankle.pressure"].Value, err
	}
	shows := func(address string, want float64) func() error {
		return func() error {
			v, err := ankle(address)
			if err == nil && (v == nil || *v < want-1 || *v > want+1) {
				err = fmt.Errorf("the ankle is at %v, want about %g", v, want)
			}
			return err
		}
	}
	d := newDevice()
	during := func(name string, f func(t *testing.T, address string, until func(func() error, float64))) {
		t.Run(name, func(t *testing.T) {
			address := start(t, "run", "-c", config)
			port.(*net.TCPListener).SetDeadline(time.Now().Add(10 * time.Second))
			c, err := port.Accept()
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { c.Close() })
			send := func(fr *frame.Frame) {
				b, err := frame.AppendWire(nil, fr, frame.U16)
				if err == nil {
					_, err = c.Write(b)
				}
				if err != nil {
					t.Fatal(err)
				}
			}
			f(t, address, func(done func() error, counts float64) { t.Helper(); d.until(t, send, done, counts, 1) })
		})
	}
	type listed struct {
		Calibrations []struct {
			ID, By      string
			Channel     int
			InForce     bool `json:"in_force"`
			PastItsDate bool `json:"past_its_date"`
		}
		Refused []struct {
			By, State string
			Reasons   []string
		}
	}
	// One that goes on while the daemon ends.
	type going struct {
		Runs []struct {
			ID, Unsaved string
			Next        int
		}
	}
	goesOn := func(address, id string) func() error {
		return func() error {
			g, err := get[going](address, "/api/v1/calibrations/run")
			if err == nil && (len(g.Runs) != 1 || g.Runs[0].ID != id || g.Runs[0].Next != 1 || g.Runs[0].Unsaved != "") {
				err = fmt.Errorf("%+v goes on, want one pressure of %s", g.Runs, id)
			}
			return err
		}
	}
	ongoing := ""
	during("first", func(t *testing.T, address string, until func(func() error, float64)) {
		until(reached(t, address, map[string]float64{`weald_frames_total{bridge="hub"}`: 5}), 500)
		if v, err := ankle(address); err != nil || v != nil {
			t.Fatalf("not calibrated, and the ankle is at %v: %v", v, err)
		}
		if text, code := said(fit("hub/leg/0", "Pat Larch")...); code != 1 || !strings.Contains(text, "names are not kept") {
			t.Errorf("a name: status %d, %s", code, text)
		}
		if text, code := said(fit("hub/none/0", "E-01")...); code != 1 || !strings.Contains(text, "there is no such channel") {
			t.Errorf("a channel that is not there: status %d, %s", code, text)
		}
		if text, code := said(fit("hub/leg/0", "E-01")...); code != 0 {
			t.Fatalf("status %d: %s", code, text)
		}
		until(shows(address, 50), 500)
		if text, code := said(fitOf(few, "hub/leg/0", "E-02")...); code != 1 || !strings.Contains(text, "refused: there are 3 levels") {
			t.Fatalf("status %d: %s", code, text)
		}
		if text, code := said(fitOf(few, "hub/leg/9", "E-02")...); code != 1 || !strings.Contains(text, "there is no such channel") {
			t.Errorf("refused, of no channel: status %d, %s", code, text)
		}
		until(raised(address, "tight"), 660)
		begun, err := postJSON[going](t.Context(), address+"/api/v1/calibrations/run", map[string]any{"bridge": "hub", "source": "leg", "channels": []int{1}, "by": "E-01", "reference": "bench gauge", "dwell_s": 5})
		if err != nil || len(begun.Runs) != 1 {
			t.Fatal(err)
		}
		ongoing = begun.Runs[0].ID
		until(goesOn(address, ongoing), 500)
	})
	during("again", func(t *testing.T, address string, until func(func() error, float64)) {
		if err := goesOn(address, ongoing)(); err != nil {
			t.Error(err)
		}
		if left, err := postJSON[going](t.Context(), address+"/api/v1/calibrations/run/leave", map[string]any{"run": ongoing}); err != nil || len(left.Runs) != 0 {
			t.Errorf("%+v, %v", left, err)
		}
		until(shows(address, 75), 700)
		all, err := get[listed](address, "/api/v1/calibrations?in_force=true")
		if err != nil || len(all.Calibrations) != 1 || !all.Calibrations[0].InForce || all.Calibrations[0].By != "E-01" || all.Calibrations[0].PastItsDate {
			t.Fatalf("%+v, %v", all, err)
		}
		if of, err := get[listed](address, "/api/v1/calibrations?channel=0"); err != nil || len(of.Calibrations) != 1 || len(of.Refused) != 1 || of.Refused[0].By != "E-02" || of.Refused[0].State != "refused" || len(of.Refused[0].Reasons) == 0 {
			t.Errorf("of the channel there is %+v, %v", of, err)
		}
		if sheet := text(t, address, "/api/v1/calibrations/"+all.Calibrations[0].ID+"/sheet"); !strings.Contains(sheet, "Calibration of hub/leg/0") || !strings.Contains(sheet, "bench gauge") {
			t.Errorf("the sheet says %.300s", sheet)
		}
		until(shows(address, 4), 132) // at rest
		zeroed := make(chan error, 1)
		go func() {
			_, err := postJSON[struct{}](context.Background(), address+"/api/v1/zeroings", map[string]any{"bridge": "hub", "source": "leg", "channels": []int{0}, "by": "E-01"})
			zeroed <- err
		}()
		until(func() error {
			select {
			case err := <-zeroed:
				return err
			default:
				return errors.New("it is being zeroed")
			}
		}, 132)
		until(shows(address, 71), 700)
	})
	during("zeroed", func(t *testing.T, address string, until func(func() error, float64)) {
		if g, err := get[going](address, "/api/v1/calibrations/run"); err != nil || len(g.Runs) != 0 {
			t.Errorf("what was left goes on: %+v, %v", g, err)
		}
		until(shows(address, 71), 700)
	})
	live := kept(t, data)
	sameAlerts(t, live, config)
	if !slices.ContainsFunc(live, func(line string) bool { return strings.Contains(line, `"raised"`) && strings.Contains(line, `"tight"`) }) {
		t.Errorf("nothing was raised: %v", live)
	}
}
