package systemd

import (
	"context"
	"fmt"
	"net"
	"os"
	"strconv"
	"strings"
	"time"

	"weald/stream/pulse"
)

// A Manager is the service manager. A nil Manager listens to nothing.
type Manager struct{ address *net.UnixAddr }

// Asked returns the manager that this process was started by, nil if none asks to be
// told. Getenv is os.Getenv, but for tests.
func Asked(getenv func(string) string) *Manager {
	name := getenv("NOTIFY_SOCKET")
	if name == "" || name[0] != '/' && name[0] != '@' { // an @ stands for an abstract name, and Go knows it too
		return nil
	}
	return &Manager{&net.UnixAddr{Name: name, Net: "unixgram"}}
}

// Watchdog returns within what time the manager wants to hear from this process again
// and again, 0 if it does not.
func (m *Manager) Watchdog(getenv func(string) string) time.Duration {
	us, err := strconv.ParseInt(getenv("WATCHDOG_USEC"), 10, 64)
	if m == nil || err != nil || us <= 0 {
		return 0
	}
	if pid := getenv("WATCHDOG_PID"); pid != "" && pid != strconv.Itoa(os.Getpid()) {
		return 0 // it is meant for another process
	}
	return time.Duration(us) * time.Microsecond
}

// Ready says that the daemon does its work, in words for `systemctl status`.
func (m *Manager) Ready(words string) error { return m.tell("READY=1", "STATUS="+line(words)) }

// Stopping says that it ends.
func (m *Manager) Stopping() error { return m.tell("STOPPING=1") }

// Beat implements pulse.Way: it is the watchdog's food.
func (m *Manager) Beat(context.Context, pulse.Beat) error { return m.tell("WATCHDOG=1") }

// During feeds the watchdog until ctx ends: while a daemon has something to do for which its
// loop stands still.
func (m *Manager) During(ctx context.Context, getenv func(string) string) {
	within := m.Watchdog(getenv)
	if within == 0 {
		return
	}
	ticker := time.NewTicker(within / 3)
	defer ticker.Stop()
	for {
		_ = m.tell("WATCHDOG=1") // a manager that cannot be told says so itself
		select {
		case <-ticker.C:
		case <-ctx.Done():
			return
		}
	}
}

// Close implements pulse.Way.
func (m *Manager) Close() {}

// line keeps text on its line: each line is an assignment.
func line(text string) string { return strings.ReplaceAll(text, "\n", " ") }

func (m *Manager) tell(assignments ...string) error {
	if m == nil {
		return nil
	}
	c, err := net.DialUnix("unixgram", nil, m.address)
	if err == nil {
		_, err = c.Write([]byte(strings.Join(assignments, "\n")))
		c.Close()
	}
	if err != nil {
		return fmt.Errorf("the service manager was not told %s: %w", assignments[0], err)
	}
	return nil
}
