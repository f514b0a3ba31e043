package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/ingest/mqtt/mosquitto"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/notify/webhook"
	"weald/stream/pipeline"
	"weald/stream/pulse"
	"weald/stream/record"
	"weald/webui/api"
)

const pulseConfig = `
data: %q
web: {listen: "127.0.0.1:0"}
bridges:
  - {id: hub, link: {tcp: {dial: %q}}, format: line, sources: [{number: 0, id: leg, channels: 1, rate: 1, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0]}]}
rules: []
notify:
  - {id: lamp, topic: {broker: %q, name: larch/lamp}, daily_test: never}
heartbeat:
  every: 5s
  webhook: {url: %q, secret_file: pulse.secret}
  topic: {broker: %q, name: larch}
self:
  loop: {limit: 2}
  heartbeat: {off: true} # a machine that is busy may miss some of so many
  clock_error: {off: true}
  memory: {off: true}
  disk: {off: true}
`

// A listener outside notes what it hears of a daemon.
type outside struct {
	t *testing.T

	mu    sync.Mutex
	beats []pulse.Body
}

func (o *outside) ServeHTTP(_ http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	var b pulse.Body
	var at int64
	fmt.Sscan(r.Header.Get("Weald-Timestamp"), &at)
	if err != nil || json.Unmarshal(body, &b) != nil || r.Header.Get("Weald-Signature") != webhook.Sign("p1anted", at, body) {
		o.t.Errorf("%v: %s", r.Header, body)
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	o.beats = append(o.beats, b)
}

func (o *outside) heard() []pulse.Body {
	o.mu.Lock()
	defer o.mu.Unlock()
	return append([]pulse.Body{}, o.beats...)
}

// A daemon whose loop hangs still has its process, its pages and its connections. Its
// heartbeats fall silent all the same, its lamp shows that it is gone, systemd is fed
// no more, and the record has an alert of it for whoever can be called; and all that is
// over when the loop turns again.
func TestALoopThatHangsIsNoticedOutside(t *testing.T) {
	t.Parallel()
	broker := mosquitto.Start(t, mosquitto.Options{})
	hub := wiretest.Listen(t)
	o := &outside{t: t}
	srv := httptest.NewServer(o)
	defer srv.Close()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "pulse.secret"), []byte("p1anted\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	c := parsedAs(t, filepath.Join(dir, "pulse.yaml"), fmt.Sprintf(pulseConfig, filepath.Join(dir, "record"), hub.Addr(), broker.Address, srv.URL, broker.Address))
	var stderr log
	d, err := newDaemon(t.Context(), c, 1, &stderr)
	if err != nil {
		t.Fatal(err)
	}
	for _, h := range d.reign.pulses.told {
		h.Every = 2 * time.Second
	}
	d.reign.pulses.hearts[0].Every, d.reign.pulses.patience, d.reign.self.Every = 100*time.Millisecond, time.Second, 100*time.Millisecond
	host, end := served(t, d)
	defer end()
	address := "http://" + host
	retained := func(topic string) string { return mosquitto.Retained(t, broker.Address, topic) }
	eventually(t, longEnough, func() error {
		if n, at := len(o.heard()), retained("larch/time"); n < 2 || !strings.Contains(at, "T") {
			return fmt.Errorf("%d beats were taken, and the topic has %q", n, at)
		}
		if lamp := retained("larch/lamp/lamp"); lamp != "off" {
			return fmt.Errorf("the lamp shows %q: %s", lamp, stderr.String())
		}
		return nil
	})

	hung, release := make(chan struct{}), make(chan struct{})
	go d.reign.pipe.Do(t.Context(), func(*pipeline.State) { close(hung); <-release })
	<-hung
	eventually(t, longEnough, func() error {
		self, err := get[api.Self](address, "/api/v1/self") // the pages are served all the same
		if err != nil {
			return err
		}
		for _, h := range self.Heartbeats {
			if h.State != "held" || !strings.Contains(h.Trouble, "does not turn") {
				return fmt.Errorf("%+v", h)
			}
		}
		return nil
	})
	beats, at := len(o.heard()), retained("larch/time")
	eventually(t, longEnough, func() error {
		if lamp := retained("larch/lamp/lamp"); lamp != "gone" {
			return fmt.Errorf("the lamp shows %q", lamp)
		}
		self, err := get[api.Self](address, "/api/v1/self")
		for _, c := range self.Conditions {
			if c.ID == "loop" && c.State != "raised" {
				return fmt.Errorf("%+v", c)
			}
		}
		return err
	})
	if n, now := len(o.heard()), retained("larch/time"); n != beats || now != at {
		t.Errorf("while the loop hangs %d beats were taken after %d, and the topic has %q after %q", n, beats, now, at)
	}
	last := o.heard()[beats-1].Number
	if head, err := record.ParseLink(o.heard()[0].Audit); err != nil || head.Number == 0 {
		t.Errorf("a beat does not have the end of the audit's chain: %v", err)
	}
	close(release)
	eventually(t, longEnough, func() error {
		if n, now := len(o.heard()), retained("larch/time"); n <= beats || now == at {
			return fmt.Errorf("beats have not come again: %d, %q", n, now)
		}
		return nil
	})
	if next := o.heard()[beats].Number; next <= last+1 {
		t.Errorf("after beat %d came %d: those that were held back do not count", last, next)
	}
	actionable(t, stderr.String())
	for _, says := range []string{"a beat is held back", "beats go out again", "the loop that judges has not turned"} {
		if !strings.Contains(stderr.String(), says) {
			t.Errorf("the log does not say that %s:\n%s", says, stderr.String())
		}
	}
}
