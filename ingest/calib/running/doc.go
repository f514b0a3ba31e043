// Package running keeps mean, standard deviation and lag-1 autocorrelation of
// readings as they come, without keeping the readings.
//
// It adds up differences from the first reading and from the running mean, never
// squares of readings, so that a small scatter on a large level keeps its digits.
//
// The package is pure.
package running
