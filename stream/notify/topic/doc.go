// Package topic publishes messages, and how things stand, at a site's MQTT broker,
// for a lamp, a relay or a program. It proposes MQTT 5, and 3.1.1 to a broker that
// does not take that.
//
//	NAME/lamp    retained: off, low, medium or high, the highest priority of what
//	             calls now; gone when the daemon does not do its work, or has gone
//	             without a farewell (its last will) or with one
//	NAME/events  each message as JSON (notify.Body), QoS 1, not retained
//
// A lamp that has heard "gone", or nothing at all, must not look as if all were
// well. A message is delivered when the broker has acknowledged it, which says
// nothing of who listens. One that the broker acknowledges with an error, such as
// that a quota is used up, is tried again. In MQTT 3.1.1 a broker has no such words:
// what it silently drops counts as delivered there.
package topic
