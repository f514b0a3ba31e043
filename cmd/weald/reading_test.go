package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"weald/config"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/journal/replicated/natstest"
	"weald/stream/journal/sqlite"
)

// A machine that only reads is given other configurations while frames flow. A bridge that is
// as before keeps its connection, which the hub gives once only; one that is opened anew loses
// nothing over MQTT, as what was not acknowledged comes again; what cannot be opened is refused,
// and nothing changes for it. The one that judges asks for no port of a bridge: its file has
// the same, and the other machine has them open.
func TestAMachineThatReadsIsReloaded(t *testing.T) {
	t.Parallel()
	servers := natstest.Serve(t, 1)
	h := newHub(t)
	broker, silent := wiretest.Vacant(t), write(t, "silent.csv", "")
	version := func(unit, bridges, places string) string {
		return fmt.Sprintf(`mqtt: {listen: %q}
bridges:
  - {id: hub, link: {tcp: {dial: %q}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 100, unit: mmHg}]}
  - {id: gate, link: {mqtt: {listener: true, password_file: gate.secret}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 100, %s}]}
%splaces:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0]}, {id: calf, channels: [hub/leg/1]}]}
  - {id: bench-2, kind: wrap, sites: [{id: ankle, channels: [gate/leg/0]}]}
%s`, broker, h.port.Addr(), unit, bridges, places)
	}
	file := map[string]string{}
	head := map[string]string{}
	for _, roles := range []string{"ingest", "judge, serve"} {
		head[roles] = fmt.Sprintf("data: record\nweb: {listen: \"127.0.0.1:%s\"}\ncluster: {servers: [%s], replicas: 1, machine: weald, roles: [%s]}\n", portOf(wiretest.Vacant(t)), strings.Join(servers.URLs(), ", "), roles)
		file[roles] = write(t, "weald.yaml", head[roles]+version("unit: mmHg", "", ""))
		secrets(t, file[roles], "gate")
	}
	reads := launch(t, file["ingest"])
	judges := launch(t, file["judge, serve"])
	gate := &gateway{bridge: "gate", wave: 200}
	stop := make(chan struct{})
	var sending sync.WaitGroup
	sending.Go(func() {
		for began := time.Now(); ; time.Sleep(20 * time.Millisecond) {
			select {
			case <-stop:
				return
			default:
				gate.feed(t, broker, began)
			}
		}
	})
	t.Cleanup(sync.OnceFunc(func() { reads.kill(); close(stop); sending.Wait() }))
	goesOn := func(bridges ...string) {
		t.Helper()
		before := map[string]uint64{}
		for _, id := range bridges {
			eventually(t, longEnough, func() error {
				b, err := bridge(judges.address, id)
				switch {
				case err != nil:
					return err
				case before[id] == 0:
					before[id] = b.Frames + 20
				case b.Frames >= before[id] || b.Frames+20 < before[id]: // a bridge that is opened anew counts anew
					return nil
				}
				return fmt.Errorf("%s does not go on: %+v; %s", id, b, reads.stderr.String())
			})
		}
	}
	applied, refused := 0, 0
	reload := func(v *victim, roles, text, says string, times int) {
		t.Helper()
		if err := os.WriteFile(file[roles], []byte(head[roles]+text), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := v.cmd.Process.Signal(syscall.SIGHUP); err != nil {
			t.Fatal(err)
		}
		eventually(t, longEnough, func() error {
			if n := strings.Count(v.stderr.String(), says); n < times {
				return fmt.Errorf("it says %q %d times, want %d: %s", says, n, times, v.stderr.String())
			}
			return nil
		})
	}
	both := func(text string) {
		t.Helper()
		applied++
		reload(reads, "ingest", text, `msg="the configuration is in force"`, applied)
		reload(judges, "judge, serve", text, `msg="the configuration is in force"`, applied)
		goesOn("hub", "gate")
	}
	goesOn("hub", "gate")
	spare := fmt.Sprintf("  - {id: spare, link: {file: {path: %q}}, format: line, sources: [{number: 1, id: arm, channels: 1, rate: 1, unit: mmHg}]}\n", silent)
	wrist := "  - {id: bench-3, kind: wrap, sites: [{id: wrist, channels: [spare/arm/0, hub/leg/1]}]}\n"
	both(version("unit: mmHg", spare, wrist))
	both(version("calibration: {slope: 0.5, offset: 3, u: 2}", "", ""))

	taken := wiretest.Listen(t) // somebody else has the port
	good := version("calibration: {slope: 0.5, offset: 3, u: 2}", "", "")
	knock := func(address string) string {
		return version("calibration: {slope: 0.5, offset: 3, u: 2}", fmt.Sprintf("  - {id: door, link: {tcp: {listen: %q}}, format: packed, sources: [{number: 1, id: arm, channels: 1, rate: 1, unit: mmHg}]}\n", address), "")
	}
	for text, why := range map[string]string{
		knock(taken.Addr().String()):                                                           "is in use by another program",
		strings.Replace(good, "slope: 0.5, offset: 3", "slope: x", 1):                          "slope",
		strings.Replace(good, "format: packed", "format: packed, capture: nowhere/at.wcap", 1): "no file can be made in its folder",
	} {
		refused++
		reload(reads, "ingest", text, "the configuration is not applied, and the former one stays", refused)
		if said := reads.stderr.String(); !strings.Contains(said, why) {
			t.Errorf("it does not say %q: %s", why, said)
		}
		goesOn("hub", "gate")
	}
	applied++
	reload(judges, "judge, serve", knock(taken.Addr().String()), `msg="the configuration is in force"`, applied)

	const least = 100
	eventually(t, longEnough, func() error {
		if hub, gated := h.sent.Load(), gate.acked.Load(); hub < least || gated < least {
			return fmt.Errorf("the hub has sent %d frames, the gate %d: too few to prove anything", hub, gated)
		}
		return nil
	})
	h.more.Store(false)
	eventually(t, longEnough, func() error {
		b, err := bridge(judges.address, "hub")
		if err == nil && b.Frames < uint64(h.sent.Load()) {
			err = fmt.Errorf("%d of %d frames have come", b.Frames, h.sent.Load())
		}
		return err
	})
	acked := gate.acked.Load()
	if n := strings.Count(reads.stderr.String(), "this machine reads the bridges now"); n != 1 {
		t.Errorf("it has begun to read %d times", n)
	}
	reads.end()
	dir := filepath.Join(filepath.Dir(file["judge, serve"]), "record")
	want := map[string]uint32{"hub/leg": h.sent.Load(), "gate/leg": acked}
	eventually(t, longEnough, func() error { return lastKept(t, dir, want) }) // they come through the log
	judges.end()
	for source, n := range want {
		all := seqsKept(t, dir, source)
		for i := range n {
			if all[i] != 1 {
				t.Errorf("frame %d of %d of %s is in the record %d times", i, n, source, all[i])
			}
		}
		for i, times := range all {
			if times != 1 {
				t.Errorf("frame %d of %s is in the record %d times", i, source, times)
			}
		}
	}
}

// What a partner has in force is asked by many while a signal changes it.
func TestAConfigurationIsAskedForWhileItChanges(t *testing.T) {
	t.Parallel()
	path := write(t, "weald.yaml", strings.Replace(elsewhereConfig, "SITE", "", 1))
	c, problems := config.Load(path)
	if problems != nil {
		t.Fatal(problems)
	}
	m := &machine{config: c, name: "weald-a", stderr: t.Output()}
	if err := m.meet(); err != nil || len(m.partners) != 1 {
		t.Fatal(err, m.partners)
	}
	p := m.partners[0]
	first := p.now()
	var asking sync.WaitGroup
	over := make(chan struct{})
	asking.Go(func() {
		for {
			select {
			case <-over:
				return
			default:
				_, _ = p.now(), p.why()
				if err := m.turned(t.Context()); err != nil {
					t.Error(err)
				}
			}
		}
	})
	for range 20 {
		p.reload(t.Context())
	}
	close(over)
	asking.Wait()
	if p.now() == first {
		t.Error("it was not read anew")
	}
}

// lastKept fails as long as the record of a running daemon does not have the last of so many
// frames of each source.
func lastKept(t *testing.T, dir string, want map[string]uint32) error {
	t.Helper()
	store, err := sqlite.Look(t.Context(), dir)
	if err != nil {
		return err
	}
	defer store.Close()
	have := map[string]uint32{}
	for in, err := range store.Inputs(t.Context(), 1, math.MaxUint64) {
		if err != nil {
			return err
		}
		if in.Scan != nil {
			have[in.Source] = max(have[in.Source], in.Scan.Seq+1)
		}
	}
	for source, n := range want {
		if have[source] < n {
			return fmt.Errorf("of %s there are %d frames of %d", source, have[source], n)
		}
	}
	return nil
}
