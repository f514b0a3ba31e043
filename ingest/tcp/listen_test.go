package tcp

import (
	"bufio"
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"io"
	"log/slog"
	"net"
	"strings"
	"testing"
	"time"

	"weald/ingest/tcp/wire"
	"weald/ingest/tcp/wire/wiretest"
)

// call connects as a bridge does: again and again until the port is open.
func call(t *testing.T, address string) net.Conn {
	t.Helper()
	for end := time.Now().Add(soon); ; time.Sleep(5 * time.Millisecond) {
		c, err := net.Dial("tcp", address)
		if err == nil {
			t.Cleanup(func() { c.Close() })
			return c
		}
		if time.Now().After(end) {
			t.Fatal(err)
		}
	}
}

// openListen opens l with a bridge that calls.
func openListen(t *testing.T, l *Listen) (ours io.ReadCloser, theirs net.Conn) {
	t.Helper()
	opened := make(chan error, 1)
	go func() {
		var err error
		ours, err = l.Open(t.Context())
		opened <- err
	}()
	theirs = call(t, l.Address)
	if _, err := within(t, "Open", func() (int, error) { return 0, <-opened }); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { ours.Close() })
	return ours, theirs
}

func TestListen(t *testing.T) {
	l := &Listen{Address: wiretest.Vacant(t)}
	for range 2 { // and once more after the first bridge has gone
		ours, theirs := openListen(t, l)
		speaksAndGoes(t, theirs, ours)
	}
}

func TestOpenWaitsUntilItsContextEnds(t *testing.T) {
	l := &Listen{Address: wiretest.Vacant(t)}
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Millisecond)
	defer cancel()
	_, err := within(t, "Open", func() (io.ReadCloser, error) { return l.Open(ctx) })
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("%v, want the end of the context", err)
	}
	if c, err := net.Dial("tcp", l.Address); err == nil {
		c.Close()
		t.Error("the port is still open")
	}
}

func TestASecondPeerIsRefusedWhileTheFirstIsAlive(t *testing.T) {
	var log bytes.Buffer
	l := &Listen{Address: wiretest.Vacant(t), Log: slog.New(slog.NewTextHandler(&log, nil))}
	ours, theirs := openListen(t, l)
	theirs.Write([]byte("a"))
	read(t, ours, 1)
	for range 2 {
		second := call(t, l.Address)
		second.Write([]byte("noise that is never read")) // must not turn the answer into a reset
		words, err := within(t, "the refusal", func() (string, error) { return bufio.NewReader(second).ReadString('\n') })
		want := "refused: this port serves one bridge, and " + theirs.LocalAddr().String() + " is connected\r\n"
		if err != nil || words != want {
			t.Errorf("told %q, %v, want %q", words, err, want)
		}
		second.Close()
	}
	theirs.Write([]byte("b"))
	if got := read(t, ours, 1); got != "b" {
		t.Errorf("the first peer's byte came as %q", got)
	}
	ours.Close() // nobody logs any more
	if n := strings.Count(log.String(), "a second peer was refused"); n != 1 {
		t.Errorf("logged %d times, want once:\n%s", n, &log)
	}
}

func TestANewcomerReplacesASilentPeer(t *testing.T) {
	l := &Listen{Address: wiretest.Vacant(t), Quiet: 50 * time.Millisecond}
	ours, theirs := openListen(t, l)
	theirs.Write([]byte("a"))
	read(t, ours, 1)
	time.Sleep(60 * time.Millisecond) // it has lost its power, and nobody told us

	second := call(t, l.Address)
	second.Write([]byte("b"))
	err := readErr(t, ours)
	if !errors.Is(err, ErrReplaced) || !strings.Contains(err.Error(), second.LocalAddr().String()+" connected") {
		t.Errorf("the silent peer's read: %v", err)
	}
	ours.Close()
	again, err := within(t, "Open", func() (io.ReadCloser, error) { return l.Open(t.Context()) })
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if got := read(t, again, 1); got != "b" {
		t.Errorf("the newcomer's byte came as %q", got)
	}
}

func TestAParkedPeerIsLetGo(t *testing.T) {
	l := &Listen{}
	ours, theirs := net.Pipe()
	l.park(newConn("first", ours, 0))
	second, _ := net.Pipe()
	kept := newConn("second", second, 0)
	l.park(kept)
	if err := readErr(t, theirs); err != io.EOF {
		t.Errorf("the older of two that wait: %v", err)
	}
	if l.unpark() != kept || l.unpark() != nil {
		t.Error("want the later of two, once")
	}
}

func TestListenSaysWhatIsWrong(t *testing.T) {
	busy := wiretest.Listen(t)
	for _, c := range []struct {
		link *Listen
		want string
	}{
		{&Listen{Address: busy.Addr().String()}, busy.Addr().String() + " is in use by another program or another bridge"},
		{&Listen{Address: "192.0.2.1:4000"}, "192.0.2.1:4000 is no address of this machine"},
		{&Listen{Address: "127.0.0.1:0", TLS: &wire.ServerTLS{Certificate: "/nowhere.pem", Key: "/nowhere.key"}},
			"certificate /nowhere.pem: no such file or directory"},
	} {
		if _, err := c.link.Open(t.Context()); err == nil || err.Error() != c.want {
			t.Errorf("%s: %v, want %q", c.link.Name(), err, c.want)
		}
	}
}

func TestListenWithTLS(t *testing.T) {
	ca := wiretest.NewCA(t)
	cert, key := ca.Leaf("127.0.0.1")
	l := &Listen{Address: wiretest.Vacant(t), TLS: &wire.ServerTLS{Certificate: cert, Key: key}}
	opened := make(chan io.ReadCloser, 1)
	go func() {
		c, err := l.Open(t.Context())
		if err != nil {
			t.Error(err)
		}
		opened <- c
	}()
	// One that connects and says nothing holds up nobody.
	mute := call(t, l.Address)
	defer mute.Close()
	// One without TLS is turned away.
	stranger := call(t, l.Address)
	stranger.Write([]byte("w1,0,1,2*00\r\n"))
	if err := readErr(t, stranger); err == nil {
		t.Error("a peer without TLS is let in")
	}
	d := &Dial{Address: l.Address, TLS: &wire.ClientTLS{CA: ca.File}}
	theirs := openDial(t, d)
	ours, err := within(t, "Open", func() (io.ReadCloser, error) { return <-opened, nil })
	if err != nil || ours == nil {
		t.Fatal("no connection")
	}
	defer ours.Close()
	theirs.(*Conn).net.(*tls.Conn).Write([]byte("w1"))
	if got := read(t, ours, 2); got != "w1" {
		t.Errorf("read %q", got)
	}
	theirs.Close()
	if err := readErr(t, ours); err != io.EOF {
		t.Errorf("after the farewell: %v", err)
	}
}
