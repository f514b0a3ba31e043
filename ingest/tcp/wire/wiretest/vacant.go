package wiretest

import (
	"net"
	"os"
	"strconv"
	"sync/atomic"
	"testing"
)

// Where ports are looked for: below those that systems give to whoever dials or asks for
// any, so that nobody comes by one that was promised here.
const firstPort, ports = 20_000, 12_000

// asked is how many ports were looked at.
var asked atomic.Int64

// Vacant returns a loopback address that nobody listens on, and none twice. Other
// processes begin elsewhere.
func Vacant(t testing.TB) string {
	t.Helper()
	for range ports {
		// 7919 has no divisor in common with how many there are.
		port := firstPort + (int64(os.Getpid())*7919+asked.Add(1))%ports
		l, err := net.Listen("tcp", net.JoinHostPort("127.0.0.1", strconv.FormatInt(port, 10)))
		if err != nil {
			continue
		}
		l.Close()
		return l.Addr().String()
	}
	t.Fatal("there is no vacant port")
	return ""
}

// Listen listens at a loopback address until the test ends.
func Listen(t testing.TB) net.Listener {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}
