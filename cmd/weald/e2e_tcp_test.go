package main

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"os"
	"testing"
	"time"

	"weald/ingest/frame"
	"weald/ingest/tcp/wire/wiretest"
)

// A gateway that weald dials loses its network for a while, learns of a second
// source later, and hears a third one that nobody has configured.
func TestAGatewayThatIsDialled(t *testing.T) {
	t.Parallel()
	port := wiretest.Listen(t)
	link := fmt.Sprintf("tcp: {dial: %q}", port.Addr())
	address := start(t, "run", "-c", write(t, "hub.yaml", fmt.Sprintf(hubConfig, "", link, "packed")))
	accept := func() net.Conn {
		t.Helper()
		port.(*net.TCPListener).SetDeadline(time.Now().Add(10 * time.Second))
		c, err := port.Accept()
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	c := accept()
	d := newDevice()
	var buf []byte
	send := func(f *frame.Frame) {
		t.Helper()
		var err error
		buf, err = frame.AppendWire(buf[:0], f, frame.U16)
		must(t, err)
		_, err = c.Write(buf)
		must(t, err)
	}
	// Only one of the two is there; the stranger has readings all the same.
	d.until(t, send, raised(address, "leg-tight"), 70, 1, 9)
	taken := func() error {
		return counted(t, address, map[string]float64{
			`weald_frames_total{bridge="hub"}`:                     d.sent(1) + d.sent(2),
			`weald_frames_bad_total{bridge="hub",reason="source"}`: d.sent(9),
			`weald_scans_total{source="hub/leg"}`:                  d.sent(1),
			`weald_scans_total{source="hub/arm"}`:                  d.sent(2),
			`weald_gap_scans_total{source="hub/leg"}`:              0,
		})()
	}
	eventually(t, longEnough, taken)
	b, err := bridge(address, "hub")
	if err != nil {
		t.Fatal(err)
	}
	if len(b.UnknownSources) != 1 {
		t.Fatalf("unknown sources: %+v", b.UnknownSources)
	}
	u := b.UnknownSources[0]
	if u.Number != 9 || u.Channels != 2 || u.Frames != uint64(d.sent(9)) || len(u.FirstReadings) != 2 || *u.FirstReadings[1] != 72 || *u.Readings[0] != 70 {
		t.Errorf("unknown source: %+v", u)
	}
	if s := b.Sources[1]; s.Scans != 0 || s.LastScanAt != nil {
		t.Errorf("the readings of a stranger came to %+v", s)
	}

	// The network goes; what is measured meanwhile is lost, and that is counted.
	c.Close()
	eventually(t, longEnough, troubled(t, address, "hub", "ended the connection"))
	const lost = 7
	d.seqs[1] += lost
	c = accept()
	defer c.Close()
	d.until(t, send, raised(address, "arm-tight", "leg-tight"), 75, 1, 2)
	eventually(t, longEnough, counted(t, address, map[string]float64{
		`weald_frames_total{bridge="hub"}`:              d.sent(1) - lost + d.sent(2),
		`weald_gap_scans_total{source="hub/leg"}`:       lost,
		`weald_gap_scans_total{source="hub/arm"}`:       0,
		`weald_repeated_frames_total{source="hub/leg"}`: 0,
		`weald_bridge_open{bridge="hub"}`:               1,
	}))
	d.until(t, send, well(t, address), 75, 1, 2)
}

// A bridge that dials weald over TLS: one without a certificate stays outside.
func TestABridgeThatDialsOverTLS(t *testing.T) {
	t.Parallel()
	ca := wiretest.NewCA(t)
	certificate, key := ca.Leaf("127.0.0.1")
	port := wiretest.Vacant(t)
	link := fmt.Sprintf("tcp: {listen: %q, quiet: 1s, tls: {certificate: %q, key: %q, client_ca: %q}}", port, certificate, key, ca.File)
	address := start(t, "run", "-c", write(t, "hub.yaml", fmt.Sprintf(hubConfig, "", link, "line")))
	eventually(t, longEnough, troubled(t, address, "hub", "still no connection after"))

	pem, err := os.ReadFile(ca.File)
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(pem)
	stranger, err := tls.Dial("tcp", port, &tls.Config{RootCAs: roots})
	if err == nil { // TLS 1.3 tells of the refusal with the first read
		_, err = stranger.Read(make([]byte, 1))
		stranger.Close()
	}
	var refused *net.OpError
	if !errors.As(err, &refused) || refused.Op != "remote error" {
		t.Errorf("a stranger gets %v, want to be refused", err)
	}

	pair, err := tls.LoadX509KeyPair(ca.Leaf("bridge"))
	if err != nil {
		t.Fatal(err)
	}
	dial := func() *tls.Conn {
		t.Helper()
		var c *tls.Conn
		eventually(t, longEnough, func() (err error) {
			c, err = tls.Dial("tcp", port, &tls.Config{RootCAs: roots, Certificates: []tls.Certificate{pair}})
			return err
		})
		return c
	}
	c := dial()
	d := newDevice()
	var buf []byte
	send := func(f *frame.Frame) {
		t.Helper()
		if buf, err = frame.AppendLine(buf[:0], f); err != nil {
			t.Fatal(err)
		}
		if _, err := c.Write(buf); err != nil {
			t.Fatal(err)
		}
	}
	balanced := func() error {
		return counted(t, address, map[string]float64{
			`weald_frames_total{bridge="hub"}`:        d.sent(1) + d.sent(2),
			`weald_gap_scans_total{source="hub/leg"}`: 0,
			`weald_gap_scans_total{source="hub/arm"}`: 0,
		})()
	}
	d.until(t, send, raised(address, "leg-tight"), 70, 1)
	eventually(t, longEnough, balanced)
	c.Close()
	eventually(t, longEnough, troubled(t, address, "hub", "ended the connection"))
	c = dial()
	defer c.Close()
	d.until(t, send, raised(address, "arm-tight", "leg-tight"), 70, 1, 2)
	eventually(t, longEnough, balanced)
	d.until(t, send, well(t, address), 70, 1, 2)
}
