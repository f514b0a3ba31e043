package broker

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"weald/ingest/mqtt/internal/handover"
	"weald/ingest/tcp/wire"
)

// errStranger refuses a client whose user name is no bridge's.
var errStranger = errors.New("no bridge of this name has an account")

// errWrong refuses a client with a wrong password.
var errWrong = errors.New("the password is wrong")

// A seat is a bridge's place at the broker.
type seat struct {
	// Set by newSeat.
	account Account
	topic   string
	offers  chan handover.Offer // from the clients' goroutines to the reader
	counts  counts

	trespassed atomic.Bool // and it was logged

	mu      sync.Mutex
	clients map[*mochi.Client]bool // guarded by mu
	present *presence              // guarded by mu; that of now, or the next while no client is there
}

// A presence is a time in which a bridge has clients. Who waits for one sees that
// it was there, however short it was.
type presence struct {
	came chan struct{} // closed when the first client came
	over chan struct{} // closed when the last client left
	why  error         // set before over is closed
}

func newPresence() *presence {
	return &presence{came: make(chan struct{}), over: make(chan struct{})}
}

func newSeat(a Account, topic string) *seat {
	return &seat{
		account: a, topic: topic, offers: make(chan handover.Offer),
		clients: map[*mochi.Client]bool{}, present: newPresence(),
	}
}

// admits says why a client with this password may not come in, if so. A nil
// seat admits nobody.
func (s *seat) admits(password string) error {
	if s == nil {
		return errStranger
	}
	secret, err := s.account.password()
	if err != nil {
		return err
	}
	if !same(password, secret) {
		return errWrong
	}
	return nil
}

// join seats c, unless there are too many.
func (s *seat) join(c *mochi.Client) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.clients) >= mostPerBridge {
		return false
	}
	if len(s.clients) == 0 {
		close(s.present.came)
	}
	s.clients[c] = true
	s.trespassed.Store(false)
	return true
}

// leave unseats c, who left for the reason why.
func (s *seat) leave(c *mochi.Client, why error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.clients[c] {
		return
	}
	delete(s.clients, c)
	if len(s.clients) == 0 {
		s.present.why = why
		close(s.present.over)
		s.present = newPresence()
	}
}

// now returns the presence of now, or the next.
func (s *seat) now() *presence {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.present
}

// firstTrespass reports whether this is the first time since a client came:
// whoever tries again and again is logged once.
func (s *seat) firstTrespass() bool { return !s.trespassed.Swap(true) }

// farewell puts into plain words why c is gone.
func farewell(c *mochi.Client, err error) error {
	if stopped := c.StopCause(); stopped != nil {
		err = stopped
	}
	from := c.Net.Remote
	switch {
	case err == nil, errors.Is(err, packets.CodeDisconnect):
		return fmt.Errorf("the client at %s said goodbye", from)
	case errors.Is(err, packets.ErrSessionTakenOver):
		return fmt.Errorf("the client at %s connected anew", from)
	case errors.Is(err, packets.ErrServerShuttingDown):
		return errors.New("the daemon's MQTT listener is shutting down")
	case errors.Is(err, packets.ErrServerBusy):
		return fmt.Errorf("the client at %s was sent away, as nobody took its frame", from)
	case errors.Is(err, packets.ErrPacketTooLarge):
		return fmt.Errorf("the client at %s sent a message of more than %d bytes", from, handover.MaxFrame)
	case errors.Is(err, packets.ErrNotAuthorized):
		return fmt.Errorf("the client at %s published to another topic than its bridge's", from)
	case errors.Is(err, os.ErrDeadlineExceeded):
		return fmt.Errorf("the client at %s no longer answers: has it lost its power or its network?", from)
	}
	if err = wire.Lost("the client at "+from, err); err == io.EOF {
		return fmt.Errorf("the client at %s broke the connection off", from)
	}
	return err
}
