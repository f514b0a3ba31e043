package tcp

import (
	"net"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"weald/ingest/tcp/wire"
)

func TestKeepAliveIsOn(t *testing.T) {
	address, _ := bridge(t)
	c := openDial(t, &Dial{Address: address})
	if idle, ok := keepAliveIdle(t, c.(*Conn).net.(*net.TCPConn)); !ok || idle != wire.KeepAlive.Idle {
		t.Errorf("probes after %v, on: %v; want %v", idle, ok, wire.KeepAlive.Idle)
	}
}

// keepAliveIdle asks the kernel after which silence it probes c's peer, and
// whether it does at all.
func keepAliveIdle(t *testing.T, c *net.TCPConn) (idle time.Duration, on bool) {
	t.Helper()
	raw, err := c.SyscallConn()
	if err != nil {
		t.Fatal(err)
	}
	var enabled, seconds int
	var failed error
	err = raw.Control(func(fd uintptr) {
		if enabled, failed = unix.GetsockoptInt(int(fd), unix.SOL_SOCKET, unix.SO_KEEPALIVE); failed == nil {
			seconds, failed = unix.GetsockoptInt(int(fd), unix.IPPROTO_TCP, unix.TCP_KEEPIDLE)
		}
	})
	if err != nil || failed != nil {
		t.Fatal(err, failed)
	}
	return time.Duration(seconds) * time.Second, enabled != 0
}
