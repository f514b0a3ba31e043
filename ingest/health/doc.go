// Package health tells which channels of a source can be believed.
//
// A Monitor belongs to one source. It is shown every live scan and says of each
// channel whether it is silent, dead, stuck, open, saturated or noisy, since
// when and why. It reads no clock, does no I/O, starts no goroutine, and after
// the first scans it allocates nothing.
//
// # Principles
//
// A load is never taken for a fault. A cell that is far above the rest for
// hours is a patient. So nothing here looks at how high a reading is to find it
// wrong, and Withhold, the only way in which this package reaches the signals,
// withholds a reading only while it is exactly the one that the channel has
// been found stuck at, and only if that one is near the lowest that its
// neighbours have ever read. What is stuck high is said, and stays in.
//
// An idle cell is not a stuck one. A mat without a body reads 0, or whatever
// its rest is, for days. That a channel does not change means something only if
// it ought to have: if all that surrounds it moved, again and again, and it
// stayed the same to the last digit. Every such occasion is a trial; six failed
// ones in a row make a fault, one change ends it. Where nothing can put a
// channel on trial, because its neighbours are idle too or it has none, nothing
// is said of it except that it is untried.
//
// Every fault mends itself: what answers again is sound again.
//
// # States
//
// Silent: no reading for 30 s while the source sends. That the whole source is
// silent is not seen here, since then there are no scans.
//
// Dead and stuck: six windows of two minutes (longer where scans are rare) in
// which every direct neighbour, and three quarters of all eight, swung by at
// least the source's swing, and the channel did not change at all, but for a
// spike that a single look saw. Dead has never answered since the first scan;
// stuck has. Two dead cells side by side are found together. A whole row or
// column of a mat is found by the lines on either side of it. In a group of
// channels that feel the same thing, three quarters of the others have to swing,
// at least two. Larger holes, and lines at the mat's edge, are not found: a body
// leaves holes of its own. A channel at the rail is never on trial.
//
// Open: a channel that used to answer reads exactly the lowest value that the
// source has, without change for three windows, while all its direct neighbours
// stayed well above the lowest that each of them knows; or falls to that value
// from a load or comes back from it between two scans while its neighbours stand
// still under load, three times in about ten minutes. An open lead lets a
// divider's input go to its end without load; a loose one lets it go and come
// back. It is not withheld unless it is
// found stuck as well.
//
// Saturated: at the rail. The reading is unknown there (the load is at least
// that), and that is not for this package to hide.
//
// Noisy: three windows in which the scatter from scan to scan is at least twice
// the source's swing, five times that of the neighbours and five times the
// channel's own past. Scatter is the mean of -d1*d2 over two successive
// differences: the variance of white noise, negative for a movement that the
// scan rate follows. It is never withheld.
//
// The swing that counts as movement is 1/64 of the range that the source's
// readings have lately covered, and at least Config.Move. That is our
// own, as the other numbers here are: it is several times the noise of every recording this was tried on
// and a fraction of what a body that turns does.
//
// # Cost
//
// A large source is looked at in stripes: a twelfth of its channels in three
// scans that follow each other, then the next twelfth. A cell of a mat is so
// seen every 36 scans, and the instants here are no finer than that. Up to 64
// channels are all looked at every three scans. All windows of a source end
// together, which costs about as much as thirty scans. Readings are compared in
// single precision: a difference of less than one part in ten million is none.
package health
