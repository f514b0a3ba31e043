package main

import (
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
	"weald/ingest/tcp/wire/wiretest"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/keeper"
	"weald/stream/record"
	"weald/webui/api"
)

// reloads makes TestReloadedUnderLoad longer.
const reloads = 20

// reloadConfig is what stays the same in all versions: a bridge with a limb, and a
// hold that is longer than most of them.
const reloadConfig = `
data: record
web: {listen: "127.0.0.1:0"}
bridges:
%s  - {id: hub, link: {tcp: {dial: %q}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 100, unit: mmHg}]}
places:
%s  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0]}, {id: calf, channels: [hub/leg/1]}]}
rules:
  - {id: long, at: {place: bench-1}, limit: {watch: ankle.pressure, above: 60}, on_delay: 2s, forget_after: 24h, priority: medium}
%s`

// reloadVersion is one of the versions: every second has another bridge and place in front,
// so that nothing keeps its index, every one another limit, and every third a rule of its
// own.
func reloadVersion(dial, silent string, n int) string {
	bridges, places, rest := "", "", fmt.Sprintf("  - {id: other, at: {place: bench-1}, limit: {watch: calf.pressure, above: %d}, priority: low}\n", 20+n%5)
	if n%2 == 1 {
		bridges = fmt.Sprintf("  - {id: spare, link: {file: {path: %q}}, format: line, sources: [{number: 1, id: arm, channels: 1, rate: 1, unit: mmHg}]}\n", silent)
		places = "  - {id: bench-0, kind: wrap, sites: [{id: wrist, channels: [spare/arm/0]}]}\n"
	}
	if n%3 == 1 {
		rest += "  - {id: third, at: {place: bench-1}, limit: {watch: calf.pressure, above: 10}, priority: low}\n"
	}
	return fmt.Sprintf(reloadConfig, bridges, dial, places, rest)
}

// A hub is a bridge that is dialled, and sends so long as it is asked to.
type hub struct {
	port net.Listener
	sent atomic.Uint32
	more atomic.Bool
	high atomic.Bool // the wave stands at its top
	done chan struct{}
}

// newHub sends 100 scans a second over the first connection that it gets: 70 at the
// ankle, at the calf a wave from 0 to 40.
func newHub(t *testing.T) *hub {
	t.Helper()
	port := wiretest.Listen(t)
	h := &hub{port: port, done: make(chan struct{})}
	h.more.Store(true)
	go func() {
		defer close(h.done)
		conn, err := port.Accept()
		if err != nil {
			return
		}
		defer conn.Close()
		began := time.Now()
		var buf []byte
		for h.more.Load() {
			n := h.sent.Load()
			f := &frame.Frame{Kind: frame.Readings, Source: 1, Seq: n, Millis: n * 10, Readings: []float64{70, float64(n % 41)}}
			if h.high.Load() {
				f.Readings[1] = 40
			}
			if buf, err = frame.AppendWire(buf[:0], f, frame.U16); err != nil {
				return
			}
			if _, err := conn.Write(buf); err != nil {
				return
			}
			h.sent.Add(1)
			time.Sleep(time.Until(began.Add(time.Duration(n+1) * 10 * time.Millisecond)))
		}
		_, _ = io.Copy(io.Discard, conn) // until the daemon ends it
	}()
	t.Cleanup(func() { port.Close(); h.more.Store(false); <-h.done })
	return h
}

// A daemon under load gets another configuration twenty times, some by a signal. No
// frame is lost and the link stays; a hold of an unchanged rule goes on through all of
// them; what is not in the configuration any more ends and says so. Killed, it goes on
// from where it stood; and an engine that is given the record, with the plans that were
// in force, finds every change that was kept and no other.
func TestReloadedUnderLoad(t *testing.T) {
	t.Parallel()
	h := newHub(t)
	silent := write(t, "silent.csv", "")
	name := write(t, "ward.yaml", reloadVersion(h.port.Addr().String(), silent, 0))
	dir := filepath.Join(filepath.Dir(name), "record")
	v := launch(t, name)
	pages := look(t, v.address)
	inForce := func(n int) func() error {
		return func() error {
			kept, err := get[struct{ Config int }](v.address, "/api/v1/record")
			if err == nil && kept.Config != n+1 {
				err = fmt.Errorf("version %d is in force: %s", kept.Config, v.stderr.String())
			}
			return err
		}
	}
	for n := 1; n <= reloads; n++ {
		if err := os.WriteFile(name, []byte(reloadVersion(h.port.Addr().String(), silent, n)), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := v.cmd.Process.Signal(syscall.SIGHUP); err != nil {
			t.Fatal(err)
		}
		eventually(t, longEnough, inForce(n))
		time.Sleep(50 * time.Millisecond) // of load
	}
	eventually(t, longEnough, func() error {
		all, err := get[struct{ Alerts []alertView }](v.address, "/api/v1/alerts?state=unacknowledged")
		if err == nil && !slices.ContainsFunc(all.Alerts, func(a alertView) bool { return a.ID == "bench-1~long~ankle" }) {
			err = fmt.Errorf("the long hold is not among %+v", all)
		}
		return err
	})

	// A file that is wrong, or needs a restart, changes nothing.
	for _, c := range []struct{ text, says string }{
		{strings.Replace(reloadVersion(h.port.Addr().String(), silent, 1), "ankle.pressure", "ancle.pressure", 1), "ancle"},
		{strings.Replace(reloadVersion(h.port.Addr().String(), silent, 1), "data: record", "data: elsewhere", 1), "restart weald for it"},
	} {
		if err := os.WriteFile(name, []byte(c.text), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := v.cmd.Process.Signal(syscall.SIGHUP); err != nil {
			t.Fatal(err)
		}
		eventually(t, longEnough, func() error {
			if !strings.Contains(v.stderr.String(), c.says) {
				return fmt.Errorf("it says %s", v.stderr.String())
			}
			return nil
		})
	}
	if err := os.WriteFile(name, []byte(reloadVersion(h.port.Addr().String(), silent, reloads)), 0o600); err != nil {
		t.Fatal(err)
	}

	h.more.Store(false)
	var bridges struct{ Bridges []api.Bridge }
	eventually(t, longEnough, func() (err error) {
		if bridges, err = get[struct{ Bridges []api.Bridge }](v.address, "/api/v1/bridges"); err != nil {
			return err
		}
		if n := bridges.Bridges[0].Frames; n != uint64(h.sent.Load()) {
			return fmt.Errorf("%d frames of %d", n, h.sent.Load())
		}
		return nil
	})
	if b := bridges.Bridges[0]; b.Connections != 1 || b.Sources[0].Scans != uint64(h.sent.Load()) || b.Sources[0].Gaps != 0 || b.Sources[0].Epochs != 1 {
		t.Errorf("%d frames were sent, and the bridge says %+v", h.sent.Load(), b)
	}
	// What is acknowledged is on the disk, with every reading before it.
	before, err := postJSON[alertView](t.Context(), v.address+"/api/v1/alerts/bench-1~long~ankle/acknowledge", map[string]string{"code": "K-07"})
	if err != nil {
		t.Fatal(err)
	}
	v.kill()
	<-pages.done
	v = launch(t, name)
	after, err := get[struct{ Alerts []alertView }](v.address, "/api/v1/alerts?state=acknowledged")
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Contains(after.Alerts, before) {
		t.Errorf("before the end there stood %+v, after it %+v", before, after)
	}
	v.end()

	seqs := seqsKept(t, dir, "hub/leg")
	for i := range h.sent.Load() {
		if seqs[i] != 1 {
			t.Errorf("frame %d of %d is kept %d times", i, h.sent.Load(), seqs[i])
		}
	}
	store, _ := recordIn(t, dir)
	inOrder(t, store)
	got := changesIn(t, store)
	ends := 0
	for _, line := range got {
		if strings.Contains(line, "the rule has been removed from the configuration") {
			ends++
		}
	}
	want := judgedByAllVersions(t, store, filepath.Dir(name))
	if !slices.Equal(got, want) {
		t.Errorf("kept:\n%s\njudged again:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	holds := slices.DeleteFunc(slices.Clone(got), func(l string) bool { return !strings.Contains(l, "raised bench-1~long~ankle") })
	if len(holds) != 1 || len(got) < 20 || ends == 0 {
		t.Errorf("%d changes, %d ends; of the long hold %v", len(got), ends, holds)
	}
	t.Logf("%d reloads: %d frames sent and kept, %d changes of alerts, %d ended with their rule", reloads, h.sent.Load(), len(got), ends)
}

type alertView struct {
	ID, State string
	RaisedAt  string `json:"raised_at"`
	By        string
}

func changeLine(e *alert.Event) string {
	return fmt.Sprintf("%v %s %s: %s", e.At, e.What, e.ID(), e.Text)
}

// changesTold keeps what an engine tells.
type changesTold struct{ lines []string }

func (c *changesTold) Alert(e alert.Event)       { c.lines = append(c.lines, changeLine(&e)) }
func (*changesTold) Updated(int, sample.Instant) {}
func (*changesTold) Late(int, *sample.Scan)      {}

// judgedByAllVersions judges the inputs of a record again, each by an engine with the
// plan of the configuration that was in force then, each of which goes on where the
// former one stood.
func judgedByAllVersions(t *testing.T, store keeper.Kept, folder string) []string {
	t.Helper()
	found := &changesTold{}
	var engine *rules.Engine
	var plan *rules.Plan
	last := map[string]alert.Event{}
	told := &telling{found, last}
	judge := func(text string, from, to uint64) {
		c := parsedAs(t, filepath.Join(folder, "ward.yaml"), text)
		converters, err := convertersOf(c)
		if err != nil {
			t.Fatal(err)
		}
		next := rules.NewEngine(c.Plan(), told)
		if engine != nil {
			for i, p := range c.Plan().Places {
				if k := placeNamed(plan, p.ID); k >= 0 {
					_ = next.RestorePlace(i, engine.SnapshotPlace(k, nil)) // a mat of another size is refused, and begins anew; live too
				}
			}
			for _, id := range sortedKeys(last) {
				was := last[id]
				if e, ends := next.Ends(&was, sample.Past); ends {
					told.Alert(e)
				}
			}
		}
		engine, plan = next, c.Plan()
		if _, err := keeper.Feed(t.Context(), store, plan, keeper.NewReviver(plan, converters), from, to, engine); err != nil {
			t.Fatal(err)
		}
	}
	type version struct {
		text string
		from uint64
	}
	var versions []version
	all, err := keeper.Reigns(t.Context(), store, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range all {
		if e.Ord == 0 && len(versions) > 0 {
			continue // of a start, between whichever inputs; tests start again with the same rules
		}
		versions = append(versions, version{e.Body.(record.Config).Text, max(1, e.Ord)})
	}
	for i, v := range versions {
		to := uint64(1) << 62
		if i+1 < len(versions) {
			to = versions[i+1].from - 1
			if to < v.from {
				continue // there was no input before the next one
			}
		}
		judge(v.text, v.from, to)
	}
	return found.lines
}

// telling notes what was told last of every alert.
type telling struct {
	*changesTold
	last map[string]alert.Event
}

func (s *telling) Alert(e alert.Event) {
	s.changesTold.Alert(e)
	s.last[e.ID()] = e
}

func sortedKeys[V any](m map[string]V) (keys []string) {
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
