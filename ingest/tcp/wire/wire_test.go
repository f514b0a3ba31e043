package wire

import (
	"context"
	"crypto/tls"
	"errors"
	"io"
	"net"
	"os"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// A flaky listener fails to accept a few times, as one does with too many files
// open.
type flaky struct {
	net.Listener
	failures atomic.Int32
}

func (f *flaky) Accept() (net.Conn, error) {
	if f.failures.Add(-1) >= 0 {
		return nil, syscall.EMFILE
	}
	return f.Listener.Accept()
}

func TestServe(t *testing.T) {
	inner, err := Listen(t.Context(), "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l := &flaky{Listener: inner}
	l.failures.Store(2)
	ctx, cancel := context.WithCancel(t.Context())
	served := make(chan struct{})
	go func() {
		defer close(served)
		Serve(ctx, l, 2, func(ctx context.Context, c net.Conn) {
			defer c.Close()
			c.Write([]byte("hello"))
			<-ctx.Done()
		})
	}()
	greeting := func() (string, error) {
		c, err := net.Dial("tcp", inner.Addr().String())
		if err != nil {
			return "", err
		}
		t.Cleanup(func() { c.Close() })
		c.SetDeadline(time.Now().Add(5 * time.Second))
		p := make([]byte, 5)
		n, err := io.ReadFull(c, p)
		return string(p[:n]), err
	}
	for range 2 {
		if s, err := greeting(); s != "hello" {
			t.Errorf("greeted with %q, %v", s, err)
		}
	}
	if s, err := greeting(); err == nil {
		t.Errorf("a third peer is greeted with %q where two are let in", s)
	}
	cancel()
	select {
	case <-served:
	case <-time.After(5 * time.Second):
		t.Fatal("serves on after the end of its context")
	}
	if _, err := inner.Accept(); !errors.Is(err, net.ErrClosed) {
		t.Errorf("the port is still open: %v", err)
	}
}

func TestErrorsInPlainWords(t *testing.T) {
	op := func(err error) error { return &net.OpError{Op: "dial", Net: "tcp", Err: err} }
	for _, c := range []struct {
		err  error
		want string
	}{
		{noDial("hub:4000", op(&net.DNSError{Name: "hub", IsNotFound: true})), `there is no host "hub": is its name right?`},
		{noDial("hub:4000", op(&net.DNSError{Name: "hub", Err: "server misbehaving"})), `the name of host "hub" could not be looked up: server misbehaving`},
		{noDial("hub:4000", op(context.DeadlineExceeded)), "hub:4000 does not answer: is it switched on and within reach?"},
		{noDial("hub:4000", op(os.NewSyscallError("connect", syscall.ENETUNREACH))), "there is no way to hub:4000: is the network up?"},
		{Lost("hub:4000", op(os.NewSyscallError("read", syscall.ETIMEDOUT))), "hub:4000 no longer answers: has it lost its power or its network?"},
		{Lost("hub:4000", op(os.ErrDeadlineExceeded)), "hub:4000 said nothing for too long"},
		{Lost("hub:4000", io.ErrUnexpectedEOF), "EOF"},
		{NoHandshake("hub:4000", io.EOF), "hub:4000 ended the connection during the TLS handshake: does it speak TLS on this port?"},
	} {
		if c.err.Error() != c.want {
			t.Errorf("%q, want %q", c.err, c.want)
		}
	}
	if err := noDial("hub:4000", op(syscall.ECONNREFUSED)); !errors.Is(err, syscall.ECONNREFUSED) {
		t.Errorf("%v has lost its cause", err)
	}
}

// Who connects and says nothing, or speaks on and never comes to an end, is let go.
func TestAHandshakeEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for _, drips := range []bool{false, true} {
			ours, theirs := net.Pipe()
			began := time.Now()
			var dripping sync.WaitGroup
			dripping.Go(func() {
				for drips {
					time.Sleep(time.Second)
					if _, err := theirs.Write([]byte{22}); err != nil {
						return
					}
				}
			})
			go io.Copy(io.Discard, theirs) // the farewell
			_, err := Handshake(t.Context(), ours, &tls.Config{})
			if took := time.Since(began); err == nil || took > Patience+time.Second || !drips && took < Patience {
				t.Errorf("drips %t: %v after %v", drips, err, took)
			}
			theirs.Close()
			dripping.Wait()
		}
	})
}
