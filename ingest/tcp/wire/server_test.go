package wire

import (
	"crypto/tls"
	"net"
	"os"
	"strings"
	"testing"

	"weald/ingest/tcp/wire/wiretest"
)

// shown returns the names that a server shows to a peer with a certificate of its own, or
// why it shows none.
func shown(t *testing.T, conf *tls.Config, own *tls.Certificate) (names []string, err error) {
	t.Helper()
	ours, theirs := net.Pipe()
	defer theirs.Close()
	done := make(chan error, 1)
	go func() {
		c, err := Handshake(t.Context(), ours, conf)
		if err == nil {
			_, _ = c.Read(make([]byte, 1)) // until the other side goes
			c.Close()
		}
		done <- err
	}()
	client := &tls.Config{InsecureSkipVerify: true}
	if own != nil {
		client.Certificates = []tls.Certificate{*own}
	}
	c := tls.Client(theirs, client)
	if err := c.HandshakeContext(t.Context()); err == nil {
		names = c.ConnectionState().PeerCertificates[0].DNSNames
	}
	theirs.Close()
	return names, <-done
}

// Renewed files count for the next peer, without anything being opened anew: the
// certificate with its key, and who may connect. What is wrong with them is told once, and
// peers get what was there before.
func TestRenewedFilesCountForTheNextPeer(t *testing.T) {
	ca, others := wiretest.NewCA(t), wiretest.NewCA(t)
	s := ServerTLS{}
	s.Certificate, s.Key = ca.Leaf("one.larch.example")
	var told []string
	conf, err := s.Config(func(err error) { told = append(told, err.Error()) })
	if err != nil {
		t.Fatal(err)
	}
	shows := func(want string) {
		t.Helper()
		if names, err := shown(t, conf, nil); err != nil || len(names) != 1 || names[0] != want {
			t.Errorf("%v %v, want %s", names, err, want)
		}
	}
	shows("one.larch.example")
	ca.Renew("two.larch.example", s.Certificate, s.Key)
	shows("two.larch.example")
	if err := os.Chmod(s.Key, 0o644); err != nil {
		t.Fatal(err)
	}
	shows("two.larch.example") // which is held, and its file was the same
	ca.Renew("three.larch.example", s.Certificate, s.Key)
	if err := os.Chmod(s.Key, 0o644); err != nil {
		t.Fatal(err)
	}
	shows("two.larch.example")
	shows("two.larch.example")
	if len(told) != 1 || !strings.Contains(told[0], "every account of this machine may use it") {
		t.Errorf("told %q", told)
	}
	if err := os.Chmod(s.Key, 0o600); err != nil {
		t.Fatal(err)
	}
	shows("three.larch.example")

	s.ClientCA = ca.File
	if conf, err = s.Config(nil); err != nil {
		t.Fatal(err)
	}
	mine, err := tls.LoadX509KeyPair(others.Leaf("hub.larch.example"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := shown(t, conf, &mine); err == nil {
		t.Error("one whom nobody has vouched for is let in")
	}
	b, err := os.ReadFile(others.File)
	if err == nil {
		err = os.WriteFile(ca.File, b, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	if _, err := shown(t, conf, &mine); err != nil {
		t.Errorf("the new list of who may connect: %v", err)
	}
}
