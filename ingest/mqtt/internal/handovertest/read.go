// Package handovertest, for tests only, reads what a link hands over, one message after the
// other, as whoever reads bridges does.
package handovertest

import (
	"io"
	"testing"
	"time"
)

// Soon is for how long a message is waited for.
const Soon = 10 * time.Second

// A Message is what one read came back with.
type Message struct {
	Text string
	Err  error
}

// Begin begins to read one message, and so acknowledges the one before.
func Begin(c io.Reader) <-chan Message {
	got := make(chan Message, 1)
	go func() {
		p := make([]byte, 64<<10)
		n, err := c.Read(p)
		got <- Message{string(p[:n]), err}
	}()
	return got
}

// Next reads one message. It leaves the read before acknowledged, and this one not yet.
func Next(t testing.TB, c io.Reader) (string, error) {
	t.Helper()
	select {
	case m := <-Begin(c):
		return m.Text, m.Err
	case <-time.After(Soon):
		t.Fatalf("no message within %v", Soon)
		panic("unreached")
	}
}

// Want reads one message, which has to have this text.
func Want(t testing.TB, c io.Reader, text string) {
	t.Helper()
	if got, err := Next(t, c); got != text || err != nil {
		t.Fatalf("read %q, %v, want %q", got, err, text)
	}
}
