package broker

import (
	"cmp"
	"crypto/sha256"
	"crypto/subtle"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"time"

	"weald/ingest/tcp/wire"
)

const (
	// DefaultMaxClients is how many clients may be connected at a time, of all
	// bridges together, where the configuration names no number.
	DefaultMaxClients = 1024

	// DefaultPatience is how long a frame may wait for its reader. It outlasts
	// the longest pause between a supervisor's attempts.
	DefaultPatience = 45 * time.Second

	// mostPerBridge is how many clients one account may have at a time.
	mostPerBridge = 8

	// maxPacket is the size in bytes of the largest packet: a frame of 64 KiB
	// with its topic and properties.
	maxPacket = 66 << 10

	// mostInFlight is how many QoS 2 messages of one client may be half done.
	mostInFlight = 64

	// longestKeepAlive is after how many seconds of silence, and half as many
	// again, a client is given up that asked for a longer time or for ever.
	longestKeepAlive = 60

	// wrongPause is how long a client with a wrong password waits for the
	// answer, so that guessing is slow.
	wrongPause = 300 * time.Millisecond
)

// Options are what a Broker needs to know.
type Options struct {
	// Address is the host:port to listen on, with the host left out for every
	// address of this machine.
	Address string

	// TLS, where it is not nil, asks for TLS.
	TLS *wire.ServerTLS

	// Accounts are the bridges that may connect.
	Accounts []Account

	// MaxClients bounds the clients of all bridges together; 0 stands for
	// DefaultMaxClients.
	MaxClients int

	// Patience is how long a frame may wait for its reader; 0 stands for
	// DefaultPatience.
	Patience time.Duration

	// Log is told of who comes, goes and is refused; nil for nobody.
	Log *slog.Logger
}

// An Account lets a bridge in.
type Account struct {
	// Bridge is the bridge's id, which is the user name too.
	Bridge string

	// PasswordFile holds the password in its first line.
	PasswordFile string
}

// password reads the account's secret. An empty one is an error: it would let
// everybody in.
func (a Account) password() (string, error) {
	b, err := os.ReadFile(a.PasswordFile)
	if err != nil {
		return "", fmt.Errorf("the password of bridge %s: %w", a.Bridge, err)
	}
	first, _, _ := strings.Cut(string(b), "\n")
	first = strings.TrimSuffix(first, "\r")
	if first == "" {
		return "", fmt.Errorf("the password of bridge %s: the first line of %s is empty", a.Bridge, a.PasswordFile)
	}
	return first, nil
}

// same compares in a time that tells nothing of where two secrets differ, nor
// of their lengths.
func same(a, b string) bool {
	x, y := sha256.Sum256([]byte(a)), sha256.Sum256([]byte(b))
	return subtle.ConstantTimeCompare(x[:], y[:]) == 1
}

func (o Options) withDefaults() Options {
	o.MaxClients = cmp.Or(o.MaxClients, DefaultMaxClients)
	o.Patience = cmp.Or(o.Patience, DefaultPatience)
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	return o
}
