// Package toll has tests only: what each stage of a reading's way costs.
//
// One list of stages is used three times: a benchmark that has each beside its limit, a
// plain loop that reads and writes what the stage must (BenchmarkStages); a test that
// holds the instructions which each takes, counted by callgrind, to those that are
// written down in testdata; and one that holds its allocations to none.
package toll
