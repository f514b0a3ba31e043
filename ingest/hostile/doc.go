// Package hostile holds the tests of what arrives when a bridge is broken, is no
// bridge, or is too many: bytes that mean nothing, frames that were cut and
// flipped, sources that flood, and a whole ward at once. It has no code of its
// own.
//
// How much of each kind of bytes every decoder is fed is a flag, in megabytes:
//
//	go test ./ingest/hostile -hostile.mb=100
//
// and what a ward of 200 bridges costs is a benchmark, in processor cores:
//
//	go test ./ingest/hostile -run '^$' -bench Ward -benchtime 100x
//
// That one core decodes 200 MB/s of packed frames is BenchmarkPacked of
// weald/ingest/frame.
package hostile
