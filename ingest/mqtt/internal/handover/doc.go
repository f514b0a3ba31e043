// Package handover passes messages from a client of MQTT to the reader of a
// link, one by one, and tells the client when each is safe: it is what the two
// ways over MQTT, as a client of a site's broker and as a broker, have in
// common.
//
// A message is safe when the reader asks for the next one, that is, when the
// bridge's supervisor has taken it over. Until then it is held: where the
// connection is closed with a message in the reader's hands, or with one that
// nobody took, the sender is not told that it arrived, and sends it again.
// Between client and reader there is no queue, so a reader that is slow, or
// absent, holds back the client and nobody else.
package handover
