// Package battery turns what a source says of its battery into how long it will
// last.
//
// A Trend belongs to one source and is shown every status. It reads no clock,
// does no I/O and starts no goroutine.
//
// # Principles
//
// Nothing is said that is not known. Hours are named only after the level has
// fallen by three steps (three percent, or 60 mV) over at least an hour, under
// one temperature, without having been charged or replaced in between; until
// then the level itself is all there is. A full gauge says nothing: many stay at
// 100 % for hours. A level that has not been heard of for long is not a level.
//
// What is named is a range. The rate is the median of the slopes between all
// pairs of points (Theil and Sen), its bounds are those of Sen's 95 % interval
// (by the variance of Kendall's S), widened by what a gauge that counts in whole
// steps cannot show. Where the range is narrow one figure stands for it, where
// it has no upper end only the lower one is said.
//
// The trend is as recent as it can be: it reaches back from now until the level
// has fallen by ten steps, and so from hours to weeks, whatever the battery
// takes. Points are means over bins that widen when there are too many of them,
// so that a Trend of months needs no more room than one of an hour.
//
// Percent counts, if the source gives it. Voltage alone makes hours only if it
// is known at which one the device stops; it falls faster near the end, so what
// comes of it is said to be an upper bound.
//
// A rise of three steps that lasts for three minutes is a battery on a charger,
// a leap of ten steps between two statuses is another battery. Either way
// everything before is forgotten, as it is where the level has dropped as far
// between two statuses: a weaker battery, or much that nobody saw. Single wild
// figures are not believed: a median of three comes first. A cold battery shows
// less and a warm one more, so points at other temperatures than now's, by more
// than 8 degrees, do not count, and a rise that comes with warmth is no charger.
// The numbers are our own; package figures has a reason for each.
package battery
