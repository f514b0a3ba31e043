// Package trend has the statistics of readings over time: medians, a robust
// slope over a window, and a moving average.
//
// Readings come on uneven clocks and with holes, so everything here goes by
// instants and not by counting samples. NaN is a reading that is not there: it
// is left out and replaces nothing. Nothing allocates after it was made.
package trend
