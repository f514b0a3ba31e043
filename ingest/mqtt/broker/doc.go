// Package broker is the daemon's own MQTT listener, for a site that has none:
// it speaks MQTT 3.1.1 and 5 to bridges, and to bridges only. It forwards
// nothing to anybody.
//
// Each bridge has one account: its user name is the bridge's id, its password
// the first line of a file, compared in constant time. Such a secret is made by
// a machine and as long as one likes, so no slow hash has to protect it, and a
// host that wakes to two hundred gateways is not busy with hashing. The file is
// read at each connect, so a new secret counts at once. A bridge may publish to
// weald/<bridge>/frames and to nothing else, and may subscribe to nothing.
//
// # When a frame is acknowledged
//
// A client is told that its frame arrived when the frame is safe: when the
// reader of the bridge's link asks for the next one. Until then nothing more is
// read from that client, so one that floods is held back by its own connection
// and holds back nobody else; of what it sends no more than one message and
// what fits into the system's buffers is kept. A frame that nobody took within
// Options.Patience costs the client its connection: it then sends it again, and
// marks it, as MQTT has it. The mark goes on to the reader (ingest.Redelivery).
//
// # Who may connect
//
// A bridge's link is open while at least one client of its account is
// connected. There may be several, as two gateways that hear the same sensors
// are a reserve for each other: what both forward counts once downstream. The
// client ids of one account are apart from those of another, so none can take
// another's session over. Sessions end with their connections; there is nothing
// to keep for a client that only publishes.
package broker
