package relay

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"flag"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"weald/ingest/sample"
	"weald/stream/journal/replicated/natstest"
	"weald/stream/versions"
)

var newReadings = flag.String("new-readings", "", "write what a reader of the present version hands on into testdata/readings, under this name")

// A handed message is one as some version wrote it.
type handed struct {
	Headers nats.Header
	Data    []byte
}

// itemsOf are what is in every file of testdata/readings, of the first writer and of the
// second. Scans that have something new go into another function.
func itemsOf(turn int) (all []Item) {
	for n := 10 * turn; n < 10*turn+6; n++ {
		s := scan(n)
		s.Battery, s.First = sample.ChargeOf(20), 0
		if n%2 == 0 {
			s.Counted, s.Millis, s.First = true, uint32(1000*n), uint32(n)
		}
		s.Damaged, s.Stored = n%3 == 0, n%3 == 0
		all = append(all, Item{Source: []string{"hub/leg", "hub/mat"}[n/3%2], Scan: s})
	}
	return all
}

// handedNow are the messages of two readers of the present version, one after the other.
func handedNow(t *testing.T) (all []handed) {
	t.Helper()
	c := natstest.Serve(t, 1)
	conn, o := c.Connect(), Options{Name: "ward", Replicas: 1, Keep: time.Hour}
	var w *Writer
	for turn := range 2 {
		var err error
		if w, err = NewWriter(t.Context(), conn, o, slog.New(slog.DiscardHandler)); err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		var running sync.WaitGroup
		running.Go(func() { _ = w.Run(ctx) })
		for _, i := range itemsOf(turn) {
			safe, err := w.Put(ctx, i.Source, i.Scan)
			if err != nil {
				t.Fatal(err)
			}
			<-safe
		}
		stop()
		running.Wait()
	}
	info, err := w.stream.Info(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for seq := range info.State.LastSeq {
		m, err := w.stream.GetMsg(t.Context(), seq+1)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, handed{m.Header, m.Data})
	}
	return all
}

// handAgain makes a stream of messages, and returns what a judge of this version takes from
// it until want are there.
func handAgain(t *testing.T, conn *nats.Conn, o Options, all []handed, want int, log *slog.Logger) []Item {
	t.Helper()
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatal(err)
	}
	within, cancel := context.WithTimeout(t.Context(), time.Minute) // a busy disk takes longer than the 5 s of NATS
	defer cancel()
	if _, err := o.open(within, js); err != nil {
		t.Fatal(err)
	}
	for _, m := range all {
		header := nats.Header{}
		for key, values := range m.Headers {
			if !strings.HasPrefix(key, "Nats-Expected-") { // which the former servers have looked at
				header[key] = values
			}
		}
		if _, err := js.PublishMsg(within, &nats.Msg{Subject: o.subject(), Header: header, Data: m.Data}); err != nil {
			t.Fatal(err)
		}
	}
	got := taken(t, conn, o, sample.Past, log)
	if got.len() != want {
		t.Errorf("%d scans, want %d", got.len(), want)
	}
	got.mu.Lock()
	defer got.mu.Unlock()
	return got.items
}

// Readings that a reader of any former version hands on are taken as what they were, so that
// machines that judge are replaced before those that read.
func TestReadingsOfFormerVersions(t *testing.T) {
	now := func() []byte {
		b, err := json.MarshalIndent(handedNow(t), "", " ")
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	conn := natstest.Serve(t, 1).Connect()
	for i, v := range versions.Former(t, "testdata/readings/*.json", *newReadings, now) {
		var then []handed
		if err := json.Unmarshal(v.Said, &then); err != nil {
			t.Fatal(err)
		}
		want := append(itemsOf(0), itemsOf(1)...)
		for k, item := range handAgain(t, conn, Options{Name: fmt.Sprintf("ward-%d", i), Replicas: 1, Keep: time.Hour}, then, len(want), slog.Default()) {
			item.Scan.Ord = 0 // means nothing
			if got, want := fmt.Sprintf("%+v", item), fmt.Sprintf("%+v", want[k]); got != want {
				t.Errorf("%s: scan %d is\n%s\nand was\n%s", v.Name, k, got, want)
			}
		}
	}
}

// What a reader writes now can be read by judges of the versions that are promised. This reads
// with nothing of the code that is tested. Whoever writes a newer version of a block lets one be
// in use before that reads it.
func TestReadingsAreAsPromised(t *testing.T) {
	const message, block = 1, 4
	claims := 0
	for i, m := range handedNow(t) {
		if m.Headers.Get("Weald-Writer") == "" || m.Headers.Get("Nats-Msg-Id") == "" {
			t.Errorf("message %d has the headers %v", i+1, m.Headers)
		}
		if len(m.Data) == 0 {
			claims++
			continue
		}
		if m.Data[0] != message {
			t.Errorf("message %d is of version %d", i+1, m.Data[0])
		}
		for body := m.Data[1:]; len(body) > 0; {
			n, width := binary.Uvarint(body)
			thing := body[width : width+int(n)]
			body = body[width+int(n):]
			if thing[0] != 'B' || thing[1] > block {
				t.Errorf("message %d has a %q of version %d", i+1, thing[0], thing[1])
			}
		}
	}
	if claims != 2 {
		t.Errorf("two readers made %d claims", claims)
	}
}
