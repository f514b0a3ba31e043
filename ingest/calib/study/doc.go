// Package study tells what handling a sensor well is worth: by how much curves for
// loading and unloading apart, a correction for creep, and the mean of four sensors
// each reduce the error, on sensors that are simulated and on recordings of real
// cells in a pressure chamber.
//
// Simulated sensors are calibrated over three cycles and then meet loads that go up
// and down and stay for half a minute to half an hour; every way of handling them
// meets the same sensors with the same draws, and learns the creep from a hold of
// ten minutes. Real cells are fitted on every other two seconds in which the chamber
// stood still, and judged on the others; nothing was held there for long enough to
// tell creep.
//
// The package is pure: it does no I/O but for reading a recording that it is given.
package study
