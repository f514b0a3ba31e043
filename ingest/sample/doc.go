// Package sample is the vocabulary that every other package speaks: instants,
// pressures, truth values, the names of sources and channels, and the scan.
// It holds no behaviour that needs a clock, and imports nothing of ours.
package sample
