// Package relief tells when somebody who sits takes the load off: weight
// shifts, pressure reliefs and transfers, each counted apart.
//
// The definitions are those of Sonenblum, Sprigle, Martin, J Rehabil Res Dev
// 2016;53(5):585-598, all bounds included, and every number is a setting:
//
//	weight shift      30 to 90 % off at least one side for 15 s
//	pressure relief   at least 90 % off the whole seat for 15 s
//	transfer          the seat empty for 60 s (common practice, no source)
//
// "Off" is by how much the load has fallen below the baseline: the median of
// the last stable seated minutes, each side for itself (common practice, no
// source).
//
// # Episodes
//
// An episode lasts from when at least one side is 30 % off until none is, and is
// counted once: as a shift when it ends, as a relief as soon as the whole seat
// is loaded again, as a transfer as soon as it is one. The more it has been
// replaces the less. What it has lasted for counts as soon as it has: the
// time since the last relief begins anew at the 15th second, not at the end.
//
// # A hole is neither load nor relief
//
// While the load of a side is unknown nothing that depends on it grows and
// nothing ends. A silence of ForgetAfter without a break forgets what was on its
// way, the time seated and the baseline.
//
// # Choices where the paper is silent
//
// One side more than 90 % off while the other is not is a weight shift. A
// posture that has been kept for the whole span of the baseline, and is stable,
// becomes the baseline, unless it is a relief of the whole seat: whoever leans
// to one side for good has not been shifting ever since. Until the first stable
// span the median of the first half minute serves. A transfer forgets the
// baseline: the next to sit down may be somebody else.
package relief
