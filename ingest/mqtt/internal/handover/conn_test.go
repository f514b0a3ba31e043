package handover

import (
	"errors"
	"os"
	"sync"
	"testing"
	"testing/synctest"
)

// A sender offers messages and writes down what became of them.
type sender struct {
	offers chan Offer
	left   chan struct{}

	mu   sync.Mutex
	said map[string]string // guarded by mu
}

var errLeft = errors.New("the other side left")

func newSender() (*sender, *Conn) {
	s := &sender{offers: make(chan Offer), left: make(chan struct{}), said: map[string]string{}}
	c := New("larch", s.offers, s.left, func() error { return errLeft }, nil)
	return s, c
}

func (s *sender) offer(c *Conn, text string) {
	select {
	case s.offers <- Offer{Payload: []byte(text), Done: func(safe bool) {
		s.note(text, map[bool]string{true: "safe", false: "lost"}[safe])
	}}:
	case <-c.Closed():
		s.note(text, "refused")
	}
}

func (s *sender) note(text, fate string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.said[text] += fate
}

func (s *sender) fate(text string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.said[text]
}

func TestAMessageIsSafeWhenTheNextIsAskedFor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, c := newSender()
		p := make([]byte, 16)
		go s.offer(c, "one")
		if n, err := c.Read(p); string(p[:n]) != "one" || err != nil {
			t.Fatalf("read %q, %v", p[:n], err)
		}
		if s.fate("one") != "" {
			t.Fatal("safe while it is in the reader's hands")
		}
		go s.offer(c, "two")
		if n, err := c.Read(p); string(p[:n]) != "two" || err != nil {
			t.Fatalf("read %q, %v", p[:n], err)
		}
		if s.fate("one") != "safe" {
			t.Errorf("one is %q after the next read", s.fate("one"))
		}
		go s.offer(c, "three")
		synctest.Wait()
		c.Close()
		c.Close()
		synctest.Wait()
		if s.fate("two") != "lost" || s.fate("three") != "refused" {
			t.Errorf("after Close two is %q and three %q, want lost and refused", s.fate("two"), s.fate("three"))
		}
		if _, err := c.Read(p); !errors.Is(err, os.ErrClosed) {
			t.Errorf("reading on: %v", err)
		}
	})
}

// Whoever reads is told of each message whether it may have come before.
func TestWhatComesAgainSaysSo(t *testing.T) {
	s, c := newSender()
	p := make([]byte, 16)
	for i, again := range []bool{false, true, true, false} {
		go func() { s.offers <- Offer{Payload: []byte("one"), Again: again, Done: func(bool) {}} }()
		if _, err := c.Read(p); err != nil || c.Again() != again {
			t.Errorf("message %d: %t, %v, want %t", i, c.Again(), err, again)
		}
	}
}

func TestCloseEndsAWaitingRead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, c := newSender()
		got := make(chan error, 1)
		go func() { _, err := c.Read(make([]byte, 16)); got <- err }()
		synctest.Wait()
		c.Close()
		if err := <-got; !errors.Is(err, os.ErrClosed) {
			t.Error(err)
		}
	})
}

func TestTheOtherSideLeaves(t *testing.T) {
	s, c := newSender()
	close(s.left)
	if _, err := c.Read(make([]byte, 16)); err != errLeft {
		t.Error(err)
	}
}

func TestAMessageThatNeverFitsIsNotSentAgain(t *testing.T) {
	s, c := newSender()
	go s.offer(c, "seventeen bytes.!")
	_, err := c.Read(make([]byte, 16))
	if err == nil || err.Error() != "larch: a message of 17 bytes does not fit into 16" {
		t.Error(err)
	}
	if s.fate("seventeen bytes.!") != "safe" {
		t.Error("its sender would send it for ever")
	}
}

func TestTopicsKeepBridgesApart(t *testing.T) {
	if topic, err := Topic("hub-3"); topic != "weald/hub-3/frames" || err != nil {
		t.Error(topic, err)
	}
	for _, id := range []string{"", "a/b", "+", "x#", "a\x00"} {
		if topic, err := Topic(id); err == nil {
			t.Errorf("%q gives %q", id, topic)
		}
	}
}
