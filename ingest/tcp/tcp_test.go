package tcp

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"weald/ingest/tcp/wire"
	"weald/ingest/tcp/wire/wiretest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const soon = 5 * time.Second

// within waits for f, which blocks on the network.
func within[T any](t *testing.T, what string, f func() (T, error)) (T, error) {
	t.Helper()
	type result struct {
		v   T
		err error
	}
	got := make(chan result, 1)
	go func() { v, err := f(); got <- result{v, err} }()
	select {
	case r := <-got:
		return r.v, r.err
	case <-time.After(soon):
		t.Fatalf("%s goes on after %v", what, soon)
		panic("unreached")
	}
}

// read reads until n bytes have come.
func read(t *testing.T, r io.Reader, n int) string {
	t.Helper()
	p, err := within(t, "a read", func() ([]byte, error) {
		p := make([]byte, n)
		_, err := io.ReadFull(r, p)
		return p, err
	})
	if err != nil {
		t.Fatal(err)
	}
	return string(p)
}

// readErr waits for the error of one Read.
func readErr(t *testing.T, r io.Reader) error {
	t.Helper()
	n, err := within(t, "a read", func() (int, error) { return r.Read(make([]byte, 64)) })
	if err == nil {
		t.Fatalf("read %d bytes instead of an error", n)
	}
	return err
}

// bridge is a bridge that listens: what it accepts comes out of the channel.
func bridge(t testing.TB) (address string, peers <-chan net.Conn) {
	t.Helper()
	l := wiretest.Listen(t)
	accepted := make(chan net.Conn, 8)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			t.Cleanup(func() { c.Close() })
			accepted <- c
		}
	}()
	t.Cleanup(func() { l.Close(); <-done })
	return l.Addr().String(), accepted
}

func openDial(t testing.TB, d *Dial) io.ReadCloser {
	t.Helper()
	c, err := d.Open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

func TestDialEveryByteArrives(t *testing.T) {
	address, peers := bridge(t)
	c := openDial(t, &Dial{Address: address})
	var sent []byte
	for i := range 1 << 18 {
		sent = append(sent, byte(i))
	}
	peer := <-peers
	go func() { peer.Write(sent); peer.Close() }()
	got, err := within(t, "reading all", func() ([]byte, error) { return io.ReadAll(c) })
	if err != nil || !bytes.Equal(got, sent) {
		t.Errorf("%d bytes and %v, want the %d that were sent, then io.EOF", len(got), err, len(sent))
	}
}

func TestOwnCloseIsNoLoss(t *testing.T) {
	address, _ := bridge(t)
	c := openDial(t, &Dial{Address: address})
	time.AfterFunc(20*time.Millisecond, func() { c.Close() })
	if err := readErr(t, c); !errors.Is(err, os.ErrClosed) {
		t.Errorf("read ended by our Close: %v", err)
	}
	if err := c.Close(); err != nil {
		t.Errorf("closing again: %v", err)
	}
}

func TestAPeerThatBreaksOff(t *testing.T) {
	address, peers := bridge(t)
	c := openDial(t, &Dial{Address: address})
	peer := <-peers
	peer.(*net.TCPConn).SetLinger(0) // a reset, as of a bridge that restarts
	peer.Close()
	if err := readErr(t, c); err.Error() != address+" broke the connection off" {
		t.Errorf("after a reset: %v", err)
	}
}

func TestASilentPeerIsGivenUp(t *testing.T) {
	address, peers := bridge(t)
	c := openDial(t, &Dial{Address: address, Idle: 60 * time.Millisecond})
	peer := <-peers
	// While it speaks it is kept, for longer than the idle time in all.
	for range 5 {
		time.Sleep(20 * time.Millisecond)
		peer.Write([]byte("x"))
		read(t, c, 1)
	}
	err := readErr(t, c)
	if !errors.Is(err, ErrIdle) || !strings.HasPrefix(err.Error(), address+" said nothing for 60ms") {
		t.Errorf("a peer that is half open: %v", err)
	}
}

// speaksAndGoes has a peer of ours say something and go.
func speaksAndGoes(t *testing.T, peer net.Conn, ours io.ReadCloser) {
	t.Helper()
	peer.Write([]byte("w1"))
	if got := read(t, ours, 2); got != "w1" {
		t.Fatalf("read %q", got)
	}
	peer.Close()
	if err := readErr(t, ours); err != io.EOF {
		t.Fatalf("after the farewell: %v", err)
	}
	ours.Close()
}

func TestReplug(t *testing.T) {
	address, peers := bridge(t)
	d := &Dial{Address: address}
	for range 3 {
		c := openDial(t, d)
		peer := <-peers
		speaksAndGoes(t, peer, c)
	}
}

func TestDialSaysWhatIsWrong(t *testing.T) {
	l := wiretest.Listen(t)
	vacant := l.Addr().String()
	l.Close()
	for _, c := range []struct {
		link *Dial
		want string
	}{
		{&Dial{Address: vacant}, vacant + " refuses connections: is it running, and is the port right?"},
		{&Dial{Address: "127.0.0.1"}, `"127.0.0.1" is no host:port: missing port in address`},
		{&Dial{Address: vacant, TLS: &wire.ClientTLS{CA: "/nowhere/ca.pem"}}, "certificates to trust: open /nowhere/ca.pem: no such file or directory"},
	} {
		if _, err := c.link.Open(t.Context()); err == nil || err.Error() != c.want {
			t.Errorf("%s: %v, want %q", c.link.Name(), err, c.want)
		}
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := (&Dial{Address: vacant}).Open(ended); !errors.Is(err, context.Canceled) {
		t.Errorf("with an ended context: %v", err)
	}
}

func TestDialWithTLS(t *testing.T) {
	ca, other := wiretest.NewCA(t), wiretest.NewCA(t)
	cert, key := ca.Leaf("127.0.0.1")
	named, namedKey := ca.Leaf("gateway.example")
	old, oldKey := ca.Issue("127.0.0.1", -time.Hour, -time.Minute)
	mine, mineKey := ca.Leaf("K-07")
	for _, c := range []struct {
		what   string
		server wire.ServerTLS
		client wire.ClientTLS
		want   string // of the error; empty for none
	}{
		{"good", wire.ServerTLS{Certificate: cert, Key: key}, wire.ClientTLS{CA: ca.File}, ""},
		{"by name", wire.ServerTLS{Certificate: named, Key: namedKey}, wire.ClientTLS{CA: ca.File, ServerName: "gateway.example"}, ""},
		{"with a client certificate", wire.ServerTLS{Certificate: cert, Key: key, ClientCA: ca.File},
			wire.ClientTLS{CA: ca.File, Certificate: mine, Key: mineKey}, ""},
		{"without a client certificate", wire.ServerTLS{Certificate: cert, Key: key, ClientCA: ca.File},
			wire.ClientTLS{CA: ca.File}, " refused the TLS connection: certificate required"},
		{"another CA", wire.ServerTLS{Certificate: cert, Key: key}, wire.ClientTLS{CA: other.File}, "is signed by nobody who is trusted here"},
		{"another name", wire.ServerTLS{Certificate: named, Key: namedKey}, wire.ClientTLS{CA: ca.File},
			`is not for "127.0.0.1" but for gateway.example: set the server name`},
		{"expired", wire.ServerTLS{Certificate: old, Key: oldKey}, wire.ClientTLS{CA: ca.File}, "is not valid at this time"},
		{"half a pair", wire.ServerTLS{Certificate: cert, Key: key}, wire.ClientTLS{CA: ca.File, Key: mineKey}, "a key its certificate"},
	} {
		t.Run(c.what, func(t *testing.T) {
			conf, err := c.server.Config(nil)
			if err != nil {
				t.Fatal(err)
			}
			address, peers := bridge(t)
			sent := make(chan struct{})
			go func() {
				defer close(sent)
				select {
				case raw := <-peers:
					if peer, err := wire.Handshake(t.Context(), raw, conf); err == nil {
						peer.Write([]byte("w1"))
						peer.Close()
					}
				case <-time.After(soon):
				case <-t.Context().Done():
				}
			}()
			conn, err := (&Dial{Address: address, TLS: &c.client}).Open(t.Context())
			if err == nil {
				defer conn.Close()
				// With TLS 1.3 a client learns only now that it was refused.
				p := make([]byte, 2)
				_, err = within(t, "a read", func() (int, error) { return io.ReadFull(conn, p) })
				if err == nil {
					err = readErr(t, conn)
				}
				<-sent
			}
			if c.want == "" && err != io.EOF {
				t.Errorf("%v, want two bytes, then io.EOF", err)
			}
			if c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
				t.Errorf("%v, want an error with %q", err, c.want)
			}
		})
	}
}

func TestDialTLSToAPortWithout(t *testing.T) {
	ca := wiretest.NewCA(t)
	address, peers := bridge(t)
	go func() { (<-peers).Write([]byte("w1,0,1,2*00\r\n")) }()
	_, err := (&Dial{Address: address, TLS: &wire.ClientTLS{CA: ca.File}}).Open(t.Context())
	if err == nil || err.Error() != address+" does not speak TLS on this port" {
		t.Error(err)
	}
}
