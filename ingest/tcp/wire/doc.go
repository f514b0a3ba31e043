// Package wire makes connections over a network, plain or TLS, and says in
// plain words why one could not be made or why one ended. It is what the links
// over TCP and over MQTT stand on.
//
// Every connection it makes has keep-alive probes switched on: a peer that lost
// its power or its network without a farewell is given up after KeepAlive has
// run out, about 30 s, although nothing was sent to it.
package wire

import (
	"net"
	"time"
)

// KeepAlive is how the operating system probes a peer that says nothing: after
// 15 s, then every 5 s, and no more than three times in vain.
var KeepAlive = net.KeepAliveConfig{
	Enable:   true,
	Idle:     15 * time.Second,
	Interval: 5 * time.Second,
	Count:    3,
}

// Patience is how long a peer may take for its part of a handshake, and how
// long a connection may take to come about.
const Patience = 10 * time.Second
