// Package view turns what the rules know into what people and programs are
// shown: places, signals, holds and alerts in the shapes of the HTTP interface
// and of the live connection, and the sentences that go with them. A value that
// is not known is null, never 0.
//
// The package is pure: it reads no clock; "now" is an argument.
package view
