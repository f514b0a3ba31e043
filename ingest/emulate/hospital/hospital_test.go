package hospital_test

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weald/ingest/emulate"
	"weald/ingest/emulate/hospital"
	"weald/ingest/frame"
	"weald/ingest/mqtt/broker"
	"weald/ingest/tcp/wire/wiretest"
)

// run plays until the test ends.
func run(t *testing.T, h *hospital.Hospital) {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- h.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}

// scans collects frames.
type scans struct {
	t *testing.T
	n int
}

func (s *scans) Frame(f *frame.Frame) {
	if f.Kind != frame.Readings || f.Seq != uint32(s.n) || len(f.Readings) != emulate.MatRows*emulate.MatColumns {
		s.t.Errorf("frame %d: %d readings, number %d", s.n, len(f.Readings), f.Seq)
	}
	s.n++
}
func (s *scans) Bad(b *frame.Bad) { s.t.Errorf("%s: %s", b.Reason, b.Detail) }

// Every other bridge waits to be dialled, and each of the others is a client of the
// daemon's listener with the password that was written; what all send are whole scans.
func TestBridgesOverBothWays(t *testing.T) {
	secret := filepath.Join(t.TempDir(), "secret")
	l := wiretest.Listen(t)
	address := l.Addr().String()
	l.Close()
	h, err := hospital.New(hospital.Options{Scenario: "bed", Places: 2, Rate: 50, TCP: "127.0.0.1:0", MQTT: address, Password: secret, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	config, err := h.Config()
	if err != nil {
		t.Fatal(err)
	}
	dials, after, _ := strings.Cut(config, `dial: "`)
	board, _, _ := strings.Cut(after, `"`)
	if !strings.Contains(dials, "hub-1") || !strings.Contains(config, "hub-2, format: packed, link: {mqtt: {listener: true") {
		t.Fatalf("bridges are not as they should be:\n%s", config)
	}
	b, err := broker.New(broker.Options{Address: address, Accounts: []broker.Account{{Bridge: "hub-2", PasswordFile: secret}}})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- b.Run(ctx) }()
	t.Cleanup(func() { stop(); <-served })
	run(t, h)

	dialled, err := net.Dial("tcp", board)
	if err != nil {
		t.Fatal(err)
	}
	defer dialled.Close()
	decoder, got := frame.NewPacked(), &scans{t: t}
	p := make([]byte, 64<<10)
	for got.n < 20 {
		n, err := dialled.Read(p)
		if err != nil {
			t.Fatal(err)
		}
		decoder.Feed(p[:n], got)
	}

	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	client, err := b.Link("hub-2").Open(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer client.Close()
	got = &scans{t: t}
	for got.n < 20 {
		n, err := client.Read(p)
		if err != nil {
			t.Fatal(err)
		}
		decoder.Message(p[:n], got)
	}
	if sent := h.Sent(); sent < 38 { // the last of each may not have been counted yet
		t.Errorf("%d scans were sent, and 40 were read", sent)
	}
}

func TestWhatCannotBePlayed(t *testing.T) {
	for _, c := range []struct {
		o    hospital.Options
		says string
	}{
		{hospital.Options{Scenario: "bath", Places: 1, TCP: "127.0.0.1:0"}, "bath"},
		{hospital.Options{Scenario: "bed", TCP: "127.0.0.1:0"}, "0 places"},
		{hospital.Options{Scenario: "bed", Places: 1}, "no way"},
		{hospital.Options{Scenario: "bed", Places: 1, TCP: "127.0.0.1:0", Rate: -1}, "scans a second"},
		{hospital.Options{Scenario: "wrap", Places: 1, MQTT: "127.0.0.1:1", Password: filepath.Join(os.DevNull, "x")}, "password"},
	} {
		if _, err := hospital.New(c.o); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v, want it to speak of %q", c.o, err, c.says)
		}
	}
}
