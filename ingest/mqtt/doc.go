// Package mqtt reads bridges that publish to a site's own MQTT broker. The
// daemon's own listener, for a site without one, is package mqtt/broker.
//
// A bridge publishes each frame, bare, as one message to weald/<bridge>/frames,
// with QoS 1 and without the retain flag.
//
// # When a frame is acknowledged
//
// The broker is told that a frame arrived when it is safe, and that is when the
// reader of the connection asks for the next one: the bridge's supervisor has
// taken it over. A frame that was being read when the daemon ended, or that
// waited to be read, is sent again by the broker, marked as a duplicate. So are
// those whose acknowledgements were lost on their way. Duplicates are passed on with
// their mark (ingest.Redelivery), which says that a frame may have been counted and
// not that it was: that is for those to tell who remember what has come.
//
// # Being away
//
// The client's id is always the same and its session outlives the connection,
// for Link.Expiry with MQTT 5 and for as long as the broker cares to with
// 3.1.1. What is published meanwhile arrives late, with its own device time.
//
// A retained message is what a broker hands out again and again to whoever
// comes: of no known age. Such ones are counted and dropped.
//
// # One Open, one session
//
// The client libraries' own reconnecting is switched off. The loss of a
// connection ends Read with an error in plain words, and the supervisor, which
// also knows whether frames make sense, decides when to try again.
package mqtt
