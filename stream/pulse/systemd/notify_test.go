package systemd

import (
	"net"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"weald/stream/pulse"
)

// The words are those of sd_notify(3), which the socket of this test takes as a service
// manager would.
func TestTells(t *testing.T) {
	for _, name := range []string{filepath.Join(t.TempDir(), "notify"), "@weald-test-" + strconv.Itoa(os.Getpid())} {
		l, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: name, Net: "unixgram"})
		if err != nil {
			t.Fatal(err)
		}
		defer l.Close()
		m := Asked(func(key string) string { return map[string]string{"NOTIFY_SOCKET": name}[key] })
		for want, tell := range map[string]func() error{
			"READY=1\nSTATUS=pages on [::1]:8420 now": func() error { return m.Ready("pages on [::1]:8420\nnow") },
			"STOPPING=1": m.Stopping,
			"WATCHDOG=1": func() error { return m.Beat(t.Context(), pulse.Beat{}) },
		} {
			if err := tell(); err != nil {
				t.Fatal(err)
			}
			b := make([]byte, 200)
			if err := l.SetReadDeadline(time.Now().Add(10 * time.Second)); err != nil {
				t.Fatal(err)
			}
			n, err := l.Read(b)
			if got := string(b[:n]); err != nil || got != want {
				t.Errorf("%s heard %q, %v; want %q", name, got, err, want)
			}
		}
	}
}

func TestWhoAsks(t *testing.T) {
	with := func(keys ...string) func(string) string {
		return func(key string) string {
			for i := 0; i < len(keys); i += 2 {
				if keys[i] == key {
					return keys[i+1]
				}
			}
			return ""
		}
	}
	nobody := Asked(with("NOTIFY_SOCKET", "relative/path"))
	if nobody != nil || nobody.Ready("") != nil || nobody.Watchdog(with("WATCHDOG_USEC", "1000000")) != 0 {
		t.Error("nobody asks, and is told")
	}
	m, own := Asked(with("NOTIFY_SOCKET", "/run/absent-notify")), strconv.Itoa(os.Getpid())
	for want, env := range map[time.Duration]func(string) string{
		time.Minute: with("WATCHDOG_USEC", "60000000", "WATCHDOG_PID", own),
		time.Second: with("WATCHDOG_USEC", "1000000"),
		0:           with("WATCHDOG_USEC", "60000000", "WATCHDOG_PID", "1"),
	} {
		if got := m.Watchdog(env); got != want {
			t.Errorf("a watchdog of %v, want %v", got, want)
		}
	}
	if m.Stopping() == nil {
		t.Error("a manager that is gone has heard it")
	}
}
