// Package archive keeps what the series of all places did for longer than the
// memory of package history does, and answers questions about it.
//
// Once a minute an Archivist takes the finished seconds from the memory and
// keeps them in the journal. When the clock of a place has passed an hour, the
// seconds of that hour become minutes and quarters of an hour. All of them have
// the least, the mean and the greatest value of their time; a mean is that of
// the known seconds, all alike, at every resolution. Where nothing was known
// there is nothing: gaps cost no room. A clean stop keeps what is left.
//
// A Reader answers from the memory as far as that reaches back, and from the
// resolution that fits for what was before, or from seconds in an hour that may not
// be summed up yet.
//
// # What a crash costs
//
// Up to a minute of seconds was not kept yet, and the hour was not summed up.
// The readings were: Recover judges the last minutes of them again and puts what
// is missing in its place. What is then still lost is how far rules had come,
// whose series depend on more than the last minutes, and what a place did whose
// clock was not the daemon's, such as that of a recording.
//
// # Seconds that are known in part
//
// A minute of which 20 seconds are known counts for 20 in whatever is made of
// it. How many were known is a series of its own, named like the other with
// " known" after it, which has points only where some second was missing.
package archive
