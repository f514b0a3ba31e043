// Package archtest holds the tests that keep the tree in order: which package
// may import which, how long a file may be, that every package says what it is,
// and that nothing under rules reads a clock. It has no code of its own.
package archtest
