// Package table reads tables of readings at known pressures: CSV with the
// columns reference_mmhg and raw, and optionally cycle (a number from 1) and
// direction (up or down). The order of the columns does not matter; other
// columns are refused, since a misspelt one would otherwise be lost in silence.
// Lines that begin with # are remarks. Tables of a pressure that was held have the
// columns age_s and raw.
//
// Every problem is reported with its line, not only the first.
package table
