// Package figures computes what is said of a sensor: linearity, hysteresis,
// repeatability, zero error, sensitivity, each in mmHg and in % of full scale,
// from a table of readings at known pressures.
//
// A deviation is found in counts and divided by the full-scale output, which is
// the difference of the mean loading readings at the highest and the lowest
// pressure. In mmHg it is that share of the span of pressures: it is referred
// to the mean sensitivity, as is usual for such figures. The lines are:
//
//   - terminal: through the mean readings at the ends of the loading run;
//   - least squares: of the loading run's level means;
//   - independent: the straight line that makes the largest deviation smallest.
//
// Hysteresis is the largest difference between the unloading and the loading
// reading at one pressure within one cycle (IEC 61298-2, in paraphrase).
// Repeatability is the largest spread of readings at one pressure, in the same
// direction, over the cycles. A table without directions is all loading; what
// cannot be told from a table (hysteresis of one run, repeatability of one
// cycle) is nil, never 0.
//
// The package is pure.
package figures
