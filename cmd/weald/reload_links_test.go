package main

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"

	"weald/config"
	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/journal"
	"weald/stream/record"
)

// linksConfig has a bridge on each kind of link that brings bytes; what versions change is
// left out.
const linksConfig = `
data: record
web: {listen: "127.0.0.1:0"}
mqtt: {listen: %q, max_clients: %d}
bridges:
  - {id: hub, link: {tcp: {dial: %q}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 100, unit: mmHg}]}
  - {id: gate, link: {mqtt: {listener: true, password_file: gate.secret}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 100, %s}]}
  - {id: board, link: {serial: {port: %q}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 100, unit: mmHg}]}
%splaces:
%s  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0]}, {id: calf, channels: [hub/leg/1]}]}
  - {id: bench-2, kind: wrap, sites: [{id: ankle, channels: [gate/leg/0]}, {id: calf, channels: [gate/leg/1]}]}
  - {id: bench-3, kind: wrap, sites: [{id: ankle, channels: [board/leg/0]}, {id: calf, channels: [board/leg/1]}]}
rules:
  - {id: waves, limit: {watch: calf.pressure, above: 20}, priority: low}
`

// terminal returns a terminal, and what sends frames into it, as a board on a serial line
// does, until ctx ends, and counts them. Before somebody has opened it as a port it would
// take them for what a person types.
func terminal(t *testing.T) (port string, send func(ctx context.Context, sent *atomic.Uint32)) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { slave.Close(); master.Close() })
	return slave.Name(), func(ctx context.Context, sent *atomic.Uint32) {
		for began := time.Now(); ctx.Err() == nil; time.Sleep(time.Until(began.Add(time.Duration(sent.Load()) * 10 * time.Millisecond))) {
			n := sent.Load()
			b, err := frame.AppendWire(nil, &frame.Frame{Kind: frame.Readings, Source: 1, Seq: n, Millis: n * 10, Readings: []float64{70, float64(n % 41)}}, frame.U16)
			if err != nil {
				t.Error(err)
				return
			}
			if _, err := master.Write(b); err != nil {
				t.Error(err)
				return
			}
			sent.Add(1)
		}
	}
}

// allJudged returns a check that nothing waits any more for the loop that judges: what does when
// a daemon ends is not kept, as if it had come later.
func allJudged(t *testing.T, address string) func() error {
	return counted(t, address, map[string]float64{"weald_pipeline_waiting_scans": 0})
}

// Every kind of link brings frames while one configuration after the other comes into
// force: with a mat, with another one, with an MQTT listener that is made anew, with a
// calibration. Over TCP, over MQTT and from a terminal all frames are kept, once. What
// cannot be opened is refused, and nothing changes for it.
func TestReloadedOverEveryLink(t *testing.T) {
	t.Parallel()
	h := newHub(t)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var typed atomic.Uint32
	port, send := terminal(t)
	broker, spare := wiretest.Vacant(t), write(t, "spare.csv", "")
	version := func(clients int, unit, bridges, places string) string {
		return fmt.Sprintf(linksConfig, broker, clients, h.port.Addr(), unit, port, bridges, places)
	}
	mat := func(rows int) (string, string) {
		return fmt.Sprintf("  - {id: spare, link: {file: {path: %q}}, format: line, sources: [{number: 1, id: mat, channels: %d, rate: 1, unit: mmHg}]}\n", spare, 2*rows),
			fmt.Sprintf("  - {id: bed-1, kind: bed, mat: {source: spare/mat, rows: %d, columns: 2, pitch_mm: [25, 25], head: first_row}}\n", rows)
	}
	const mmhg, calibrated = "unit: mmHg", "calibration: {slope: 0.5, offset: 3, u: 2}"
	small, bed := mat(2)
	large, other := mat(3)
	name := write(t, "ward.yaml", version(8, mmhg, "", ""))
	secrets(t, name, "gate")
	v := launch(t, name)
	gate := &soaker{bridge: "gate"}
	var sending sync.WaitGroup
	sending.Go(func() { gate.run(ctx, t, newWorld(1), broker, 3) })
	eventually(t, longEnough, func() error {
		b, err := bridge(v.address, "board")
		if err == nil && b.State != "open" {
			err = fmt.Errorf("it is %s: %s", b.State, b.Trouble)
		}
		return err
	})
	sending.Go(func() { send(ctx, &typed) })
	goesOn := func() {
		t.Helper()
		before, beforeTyped := h.sent.Load(), typed.Load()
		eventually(t, longEnough, func() error {
			b, err := bridge(v.address, "gate")
			if err != nil {
				return err
			}
			if h.sent.Load() < before+20 || typed.Load() < beforeTyped+20 || b.State != "open" {
				return fmt.Errorf("hub %d, board %d, gate %s", h.sent.Load()-before, typed.Load()-beforeTyped, b.State)
			}
			return nil
		})
	}
	inForce := func() int {
		kept, err := get[struct{ Config int }](v.address, "/api/v1/record")
		if err != nil {
			t.Fatal(err)
		}
		return kept.Config
	}
	goesOn()
	for n, text := range []string{
		version(8, mmhg, small, bed), version(8, mmhg, large, other), version(7, mmhg, large, other),
		version(7, calibrated, large, other), version(8, calibrated, "", ""), version(8, mmhg, "", ""),
	} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if n%2 == 0 {
			if err := v.cmd.Process.Signal(syscall.SIGHUP); err != nil {
				t.Fatal(err)
			}
			eventually(t, longEnough, func() error {
				if now := inForce(); now != n+2 {
					return fmt.Errorf("version %d is in force: %s", now, v.stderr.String())
				}
				return nil
			})
		} else if _, err := postJSON[struct{}](t.Context(), v.address+"/api/v1/configuration/apply", map[string]string{"code": "E-02"}); err != nil {
			t.Fatal(err)
		}
		goesOn()
	}

	// What cannot be opened is found before anything ends for it.
	busy := wiretest.Listen(t)
	good := version(8, mmhg, "", "")
	was := inForce()
	for _, c := range []struct{ from, to, says string }{
		{fmt.Sprintf("mqtt: {listen: %q", broker), fmt.Sprintf("mqtt: {listen: %q", busy.Addr()), "is in use by another program"},
		{"max_clients: 8}", "max_clients: 8, tls: {certificate: none.pem, key: none.key}}", "none.pem: no such file"},
		{"gate.secret", "none.secret", "the password of bridge gate"},
		{"format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 100, unit: mmHg}]}\n  - {id: gate", "format: packed, capture: /dev/null/hub.wcap, sources: [{number: 1, id: leg, channels: 2, rate: 100, unit: mmHg}]}\n  - {id: gate", "bridge hub: its capture: no file can be made"},
		{"tcp: {dial:", fmt.Sprintf("tcp: {listen: %q}}, format: packed, sources: [{number: 9, id: x, channels: 1, rate: 1, unit: mmHg}]}\n  - {id: second, link: {tcp: {dial:", busy.Addr()), "bridge hub: " + busy.Addr().String() + " is in use"},
	} {
		text := strings.Replace(good, c.from, c.to, 1)
		if strings.HasPrefix(c.to, "tcp: {listen") {
			text = strings.ReplaceAll(text, "hub/leg", "second/leg")
		}
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := postJSON[struct{}](t.Context(), v.address+"/api/v1/configuration/apply", map[string]string{"code": "E-02"}); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v, want %q", err, c.says)
		}
	}
	if now := inForce(); now != was {
		t.Errorf("version %d is in force, want %d", now, was)
	}
	goesOn()
	const least = 40
	eventually(t, longEnough, func() error { // a gateway waits for each acknowledgement, and sends some again
		b, err := bridge(v.address, "gate")
		if err == nil && b.Frames < 2*least {
			err = fmt.Errorf("%d frames of gate: too few to prove anything", b.Frames)
		}
		return err
	})

	stop()
	h.more.Store(false)
	sending.Wait()
	for id, sent := range map[string]uint32{"hub": h.sent.Load(), "board": typed.Load()} {
		eventually(t, longEnough, func() error {
			b, err := bridge(v.address, id)
			if err == nil && (b.Frames != uint64(sent) || b.Connections != 1) {
				err = fmt.Errorf("%s: %d frames of %d, %d connections", id, b.Frames, sent, b.Connections)
			}
			return err
		})
	}
	eventually(t, longEnough, allJudged(t, v.address))
	v.end()
	dir := filepath.Join(filepath.Dir(name), "record")
	for source, sent := range map[string]int{"hub/leg": int(h.sent.Load()), "board/leg": int(typed.Load()), "gate/leg": len(gate.acked)} {
		seqs := seqsKept(t, dir, source)
		for seq := range sent {
			if n := seqs[uint32(seq)]; n != 1 {
				t.Errorf("frame %d of %d of %s is kept %d times", seq, sent, source, n)
			}
		}
		if sent < least {
			t.Errorf("%s has sent %d", source, sent)
		}
	}
	store, _ := recordIn(t, dir)
	if got, want := changesIn(t, store), judgedByAllVersions(t, store, filepath.Dir(name)); !slices.Equal(got, want) {
		t.Errorf("%d changes are kept, and %d are found again:\n%s", len(got), len(want), firstDifference(got, want))
	}
	t.Logf("hub %d, board %d, gate %d frames, its cable pulled %d times", h.sent.Load(), typed.Load(), len(gate.acked), gate.pulled)
}

// Something is wrong with a configuration that no check has found: the former one comes
// into force again, with its bridges as they were, and the record says both. A later one
// comes into force as ever, and the record is judged again by all of them.
func TestAConfigurationThatFailsLateIsUndone(t *testing.T) {
	t.Parallel()
	h := newHub(t)
	silent := write(t, "silent.csv", "")
	text := func(n int) string { return reloadVersion(h.port.Addr().String(), silent, n) }
	name := write(t, "ward.yaml", text(0))
	parse := func(n int) *config.Config {
		return parsedAs(t, name, text(n))
	}
	var stderr log
	d, err := newDaemon(t.Context(), parse(0), 1, &stderr)
	if err != nil {
		t.Fatal(err)
	}
	host, end := served(t, d)
	defer end()
	address := "http://" + host
	flows := func() {
		t.Helper()
		before := h.sent.Load()
		eventually(t, longEnough, func() error {
			b, err := bridge(address, "hub")
			if err == nil && b.Frames < uint64(before)+20 {
				err = fmt.Errorf("%d frames: %s", b.Frames, stderr.String())
			}
			return err
		})
	}
	flows()
	h.high.Store(true) // an alert stands, of which what fails has changed the rule
	flows()
	eventually(t, longEnough, func() error {
		all, err := get[struct{ Alerts []alertView }](address, "/api/v1/alerts?state=unacknowledged")
		if err == nil && !slices.ContainsFunc(all.Alerts, func(a alertView) bool { return a.ID == "bench-1~other~calf" }) {
			err = fmt.Errorf("it is not among %+v", all)
		}
		return err
	})
	broken := parse(1)
	broken.Bridges[1].Sources[0].Lines = make([]calib.Line, 7) // of two channels
	d.reloads.Lock()
	err = d.enforce(d.now(), broken, d.broker, "E-01")
	d.reloads.Unlock()
	if err == nil || d.now().config.Text != text(0) {
		t.Fatalf("%v, and in force is %s", err, d.now().config.Text)
	}
	flows()
	h.high.Store(false)
	if r, err := http.Get(address + "/api/v1/places/bench-0"); err != nil || r.StatusCode != http.StatusNotFound {
		t.Errorf("a place of what failed is there: %v %v", r, err)
	} else {
		r.Body.Close()
	}
	if err := os.WriteFile(name, []byte(text(2)), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := d.reload("E-01"); err != nil {
		t.Fatal(err)
	}
	flows()
	h.more.Store(false)
	eventually(t, longEnough, func() error {
		b, err := bridge(address, "hub")
		if err == nil && (b.Frames != uint64(h.sent.Load()) || b.Connections != 1 || b.Sources[0].Gaps != 0) {
			err = fmt.Errorf("%d frames were sent, and the bridge says %+v", h.sent.Load(), b)
		}
		return err
	})
	eventually(t, longEnough, allJudged(t, address))
	end()
	dir := filepath.Join(filepath.Dir(name), "record")
	seqs := seqsKept(t, dir, "hub/leg")
	for i := range h.sent.Load() {
		if seqs[i] != 1 {
			t.Errorf("frame %d of %d is kept %d times", i, h.sent.Load(), seqs[i])
		}
	}
	store, _ := recordIn(t, dir)
	var texts []string
	last := uint64(0)
	for e, err := range store.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindConfig}}) {
		if err != nil {
			t.Fatal(err)
		}
		c := e.Body.(record.Config)
		if texts = append(texts, c.Text); (c.Undoes == 2) != (len(texts) == 3) {
			t.Errorf("version %d undoes %d", c.Version, c.Undoes)
		}
		if len(texts) > 1 && e.Ord <= last {
			t.Errorf("version %d is in force from input %d, and the one before it from %d", len(texts), e.Ord, last)
		}
		last = e.Ord
	}
	if !slices.Equal(texts, []string{text(0), text(1), text(0), text(2)}) {
		t.Errorf("in force were %q", texts)
	}
	if got, want := changesIn(t, store), judgedByAllVersions(t, store, filepath.Dir(name)); !slices.Equal(got, want) {
		t.Errorf("%d changes are kept, and %d are found again:\n%s", len(got), len(want), firstDifference(got, want))
	}
}
