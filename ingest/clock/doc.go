// Package clock maps a device's millisecond counter to event times.
//
// A bridge stamps frames with a counter of its own: 32 bits that wrap after
// 49.7 days, start again at a reboot, and run up to 500 ppm fast or slow. The
// only other thing known is when each frame arrived, which is late by an
// unknown delay, sometimes by seconds, and never early. So the clock follows
// the fastest frames: the straight line that lies below every arrival − device
// time, as close to them as it can. A delayed frame lies above that line and
// never moves it.
//
// # What is promised
//
//   - Event times of one Clock never run backwards, across epochs neither,
//     unless the host moves its clock: tells so (Step), or gives an arrival more
//     than Jump before the last.
//   - No event time is later than its frame's arrival, as long as arrivals do
//     not run backwards.
//   - The line is above no frame that it is drawn through, and its slope is at
//     most 500 ppm either way, whatever the delays.
//   - Inside an epoch the line is never stepped: event times gain or lose at
//     most an eighth against the device while they are being corrected. The one
//     exception is the promise above: until a correction toward earlier times
//     is done, a frame may be held to its arrival.
//
// # Epochs
//
// An epoch is a stretch in which the device counted without interruption. A new
// one begins, and is counted, when
//
//   - the counter falls back (a reboot), or the caller knows of one (Restart);
//   - a frame arrives more than Jump (2 s) before its predicted time: no delay
//     makes a frame early, so the counter has leapt. In the first ten seconds
//     of an epoch the prediction rests on a few frames that may themselves have
//     been late, so there it takes a minute; less is slewed away;
//   - frames are later than predicted by more than Jump and stay so. A delay
//     ends, and a queue that is drained gets shorter, but a counter that stood
//     still for a while (a device that slept) leaves every later frame late by
//     the same amount. So: the fastest frame since the lateness began is more
//     than Jump late and has not been beaten by more than 50 ms for 20 s, by
//     the host's and by the device's time, over at least 4 frames. One frame
//     that is in time again calls it off. A burst, however long and late, that
//     is delivered at once or faster than it was recorded starts no epoch.
//
// After a silence the prediction itself is less sure; for a minute, both bounds
// are then widened by a thousandth of the silence.
//
// The package is pure: it does no I/O and reads no clock.
package clock
