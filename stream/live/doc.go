// Package live pushes what happens to viewers over WebSocket connections, in
// the protocol weald.live.v1. PROTOCOL.md in this folder says all that it takes
// to write a viewer.
//
// # Who may be slow
//
// A viewer on a thin link must not be shown the past as the present, and must
// not hold up anybody else. So nothing piles up for it. Readings and maps are
// sent only while fewer than four frames are unconfirmed; what came meanwhile
// is read from the shared memory when there is room again, the newest first in
// mind: rows older than 300 ms are left out and the frame says so. Views of
// places are sent one small batch at a time, the next when the viewer's pong
// has come back; to who asks for it, only what has changed, all of it in one event,
// which is compressed best. Alerts are never left out: they wait in a queue of 256, and a
// viewer that lets it overflow is disconnected (1013) and gets a snapshot when
// it comes back. A viewer that takes nothing at all for ten seconds is cut off.
//
// # Goroutines
//
// Each viewer has two, both within ServeHTTP: one reads, one writes, and only
// the latter ever writes data. The pipeline's goroutine marks what is new and
// wakes writers, without waiting for any. Run is one more; every second it looks
// for places that have changed and lets the beat go out. The beat comes after
// the pipeline has answered, so that it vouches for the whole daemon and not
// just for the socket. No lock is held while anything is written.
package live
