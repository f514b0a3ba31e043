package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/ingest/raced"
	"weald/ingest/tcp/wire/wiretest"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/notify"
	"weald/stream/notify/webhook"
	"weald/stream/record"
	"weald/webui/api"
)

// planted are secrets that nothing may say.
var planted = []string{"p1anted-of-the-desk", "p1anted-of-the-chat", "p1anted-address", "p1anted-of-mail", "p1anted-of-the-lamp"}

var notifyConfig = `
data: record
web: {listen: "127.0.0.1:0"}
mqtt: {listen: %q}
bridges:
` + gatewayConfig("hub-a", "leg", 50) + `places:
  - {id: bench-a, kind: wrap, sites: [{id: ankle, channels: [hub-a/leg/0, hub-a/leg/1]}]}
notify:
  - {id: desk, webhook: {url: %q, secret_file: desk.secret}}
  - {id: chat, webhook: {url_file: chat.url, secret_file: chat.secret}, priorities: [high]}
  - {id: night, mail: {server: %q, user: weald, password_file: mail.secret, from: weald@larch.example, to: [round@larch.example]}, priorities: [high]}
  - {id: lamp, topic: {broker: %q, user: weald, password_file: lamp.secret}}
rules:
`

// A desk is a receiver that is good, or fails as it likes, and remembers.
type desk struct {
	t *testing.T

	mu     sync.Mutex
	rng    *rand.Rand     // nil for one that is always good
	flaky  bool           // fails longer than is enough
	taken  map[string]int // by key: answered with 200
	failed int
}

// enough is whether it has failed often enough to prove anything.
func (d *desk) enough() bool { return d.failed >= 3 }

func (d *desk) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return // killed while it spoke
	}
	var b notify.Body
	var at int64
	fmt.Sscan(r.Header.Get("Weald-Timestamp"), &at)
	if json.Unmarshal(body, &b) != nil || r.Header.Get("Weald-Signature") != webhook.Sign(planted[0], at, body) || r.Header.Get("Idempotency-Key") != b.Key {
		d.t.Errorf("%v: %s", r.Header, body)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.rng != nil && (d.flaky || !d.enough()) {
		switch d.rng.IntN(5) {
		case 0:
			d.failed++
			w.WriteHeader(http.StatusInternalServerError)
			return
		case 1: // takes it, and the answer is lost
			d.taken[b.Key]++
			d.failed++
			panic(http.ErrAbortHandler)
		}
	}
	d.taken[b.Key]++
}

// A daemon that sends is killed again and again. Every call that its record makes due
// is queued once, and was taken by the receiver or is said to have been given up; the
// receiver was told nothing else. A sender that does not get through is an alert and
// shown everywhere; and no secret is said by anything that the daemon writes.
func TestKilledWhileSending(t *testing.T) {
	raced.Skip(t, "processes that are killed, and what they leave on the disk")
	t.Parallel()
	receiver := &desk{t: t, rng: rand.New(rand.NewPCG(7, 9)), flaky: true, taken: map[string]int{}}
	srv := httptest.NewServer(receiver)
	defer srv.Close()
	chat := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.WriteHeader(http.StatusUnprocessableEntity)
		io.WriteString(w, r.Header.Get("Weald-Signature")+planted[1])
	}))
	defer chat.Close()
	port := wiretest.Vacant(t)
	config := fmt.Sprintf(notifyConfig, port, srv.URL, wiretest.Vacant(t), wiretest.Vacant(t))
	for limit := 10; limit < 105; limit += 5 {
		config += fmt.Sprintf("  - {id: above-%d, limit: {watch: ankle.pressure, above: %d}, priority: low}\n", limit, limit)
	}
	config += "  - {id: far-above, limit: {watch: ankle.pressure, above: 103}, priority: high}\n"
	name := write(t, "ward.yaml", config)
	secrets(t, name, "hub-a")
	for file, text := range map[string]string{"desk.secret": planted[0], "chat.secret": planted[1], "chat.url": chat.URL + "/" + planted[2], "mail.secret": planted[3], "lamp.secret": planted[4]} {
		if err := os.WriteFile(filepath.Join(filepath.Dir(name), file), []byte(text+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	g := &gateway{bridge: "hub-a", wave: 150}
	began, rng := time.Now(), rand.New(rand.NewPCG(9, 7))
	var said bytes.Buffer
	const rounds = 8
	for round := range rounds + 1 {
		v := launch(t, name)
		reachable(t, port)
		var busy sync.WaitGroup
		if round < rounds {
			g.top = round == rounds-1 // which the chat is to be told of
			busy.Go(func() { g.feed(t, port, began) })
			acknowledged(t, v, 40+rng.IntN(120), g)
			time.Sleep(time.Duration(rng.IntN(20)) * time.Millisecond)
			v.kill()
		} else {
			receiver.mu.Lock()
			receiver.flaky = false
			receiver.mu.Unlock()
			looksBroken(t, v.address, &said)
			asksForTests(t, name, &said)
			v.end()
		}
		busy.Wait()
		said.WriteString(v.stderr.String())
	}
	dir := filepath.Join(filepath.Dir(name), "record")
	everyCallEnded(t, dir, receiver)
	if said.Write(everythingIn(t, dir)); said.Len() < 10000 {
		t.Errorf("%d bytes were said", said.Len())
	}
	for _, s := range planted {
		if bytes.Contains(said.Bytes(), []byte(s)) {
			t.Errorf("%s is said", s)
		}
	}
}

// looksBroken waits until the desk has all, and looks at what is said of the others.
func looksBroken(t *testing.T, address string, said *bytes.Buffer) {
	t.Helper()
	eventually(t, longEnough, func() error {
		body, err := get[struct{ Senders []api.Sender }](address, "/api/v1/senders")
		if err != nil {
			return err
		}
		if s := body.Senders; len(s) != 4 || s[0].Waiting > 0 || s[0].State != "well" || s[1].State != "broken" || s[2].Trouble == "" || s[3].Trouble == "" {
			return fmt.Errorf("%+v", s)
		}
		if calls := body.Senders[0].Calls; !slices.ContainsFunc(calls, func(c api.Called) bool { return c.Alert == "~sender~chat" && c.State == "sent" }) {
			return fmt.Errorf("that chat is broken was not told by the desk: %+v", calls)
		}
		return nil
	})
	for _, c := range []struct{ path, says string }{
		{"/readyz", "sender chat does not get through: "}, {"/metrics", `weald_notify_well{sender="chat"} 0`}, {"/metrics", `weald_notify_well{sender="desk"} 1`},
		{"/api/v1/alerts", "~sender~chat"}, {"/api/v1/senders", "refuses connections"}, {"/api/v1/alerts/changes", ""}, {"/api/v1/bridges", ""},
	} {
		got := text(t, address, c.path)
		if !strings.Contains(got, c.says) {
			t.Errorf("%s does not say %q: %.300s", c.path, c.says, got)
		}
		said.WriteString(got)
	}
}

// asksForTests asks the running daemon for tests, one of which a receiver takes.
func asksForTests(t *testing.T, config string, said *bytes.Buffer) {
	t.Helper()
	for sender, c := range map[string]struct {
		code int
		says string
	}{"desk": {0, "has taken a test"}, "chat": {1, "the running daemon says: "}, "night": {1, "refuses connections"}} {
		var out bytes.Buffer
		code := run(t.Context(), []string{"notify", "test", "-c", config, sender}, &out, &out)
		if code != c.code || !strings.Contains(out.String(), c.says) {
			t.Errorf("a test of %s: %d, %s", sender, code, out.String())
		}
		said.Write(out.Bytes())
	}
}

func everyCallEnded(t *testing.T, dir string, receiver *desk) {
	t.Helper()
	store, done := recordIn(t, dir)
	defer done()
	receiver.mu.Lock()
	defer receiver.mu.Unlock()
	queued, ended := map[string]int{}, map[string][]string{}
	due := map[string]bool{}
	for _, e := range journaltest.Gather(t, store.Entries(t.Context(), journal.Query{})) {
		switch b := e.Body.(type) {
		case record.Transition:
			if b.Event.What == alert.Raised && !b.Event.Quiet && b.Event.State == alert.Unacknowledged {
				due[fmt.Sprintf("%s.%d.call.desk", b.Event.ID(), e.Position)] = true
			}
		case record.Notice:
			if b.Sender != "desk" {
				continue
			}
			if b.What == notify.Queued {
				queued[b.Key]++
			} else {
				ended[b.Key] = append(ended[b.Key], b.What)
			}
		}
	}
	for key := range due {
		if queued[key] != 1 {
			t.Errorf("%s was due, and was queued %d times", key, queued[key])
		}
	}
	calls := 0
	for key, n := range queued {
		if n != 1 || len(ended[key]) != 1 || ended[key][0] != notify.Sent {
			t.Errorf("%s was queued %d times and ended %q", key, n, ended[key])
		}
		if receiver.taken[key] == 0 {
			t.Errorf("%s is said to be sent, and did not arrive", key)
		}
		if strings.Contains(key, ".call.") {
			calls++
		}
	}
	again := 0
	for key, n := range receiver.taken {
		if queued[key] != 1 {
			t.Errorf("%s arrived, and was never queued", key)
		}
		again += n - 1
	}
	t.Logf("%d calls due, %d messages queued and delivered, %d of them more than once; the receiver failed %d times", len(due), len(queued), again, receiver.failed)
	if len(due) < 10 || !receiver.enough() || calls < len(due) {
		t.Error("too few to prove anything")
	}
}

// A rehearsal sends nothing, and a test goes out without a daemon.
func TestRehearsalNeverSends(t *testing.T) {
	receiver := &desk{t: t, taken: map[string]int{}}
	srv := httptest.NewServer(receiver)
	defer srv.Close()
	name := write(t, "ward.yaml", fmt.Sprintf(`
data: record
bridges:
  - {id: logger, link: {file: {path: k07.csv}}, format: delimited, delimited: {time: {column: 0, as: seconds}, channels: [1]}, sources: [{number: 0, id: leg, channels: 1, rate: 1, unit: mmHg}]}
places:
  - {id: bench-a, kind: wrap, sites: [{id: ankle, channels: [logger/leg/0]}]}
notify:
  - {id: desk, webhook: {url: %q, secret_file: desk.secret}}
rules:
  - {id: tight, limit: {watch: ankle.pressure, above: 60}, priority: high}
`, srv.URL))
	folder := filepath.Dir(name)
	for file, text := range map[string]string{"desk.secret": planted[0], "k07.csv": "0,50\n1,70\n2,70\n3,70\n4,50\n"} {
		if err := os.WriteFile(filepath.Join(folder, file), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	events, _ := rehearsed(t, "-c", name, "--input", "logger="+filepath.Join(folder, "k07.csv"))
	if len(events) == 0 || len(receiver.taken) > 0 {
		t.Errorf("%d events, %v was sent", len(events), receiver.taken)
	}
	var stdout, stderr bytes.Buffer
	if code := run(t.Context(), []string{"notify", "test", "-c", name, "desk"}, &stdout, &stderr); code != 0 || len(receiver.taken) != 1 {
		t.Errorf("%d: %s%s, %v", code, stdout.String(), stderr.String(), receiver.taken)
	}
	if code := run(t.Context(), []string{"notify", "test", "-c", name, "lamp"}, &stdout, &stderr); code != 1 || !strings.Contains(stderr.String(), "lamp: there is no such sender") {
		t.Errorf("%d: %s", code, stderr.String())
	}
	srv.Close()
	if code := run(t.Context(), []string{"notify", "test", "-c", name, "desk"}, &stdout, &stderr); code != 1 || !strings.Contains(stderr.String(), "refuses connections") {
		t.Errorf("%d: %s", code, stderr.String())
	}
}
