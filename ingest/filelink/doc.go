// Package filelink plays a file as if it were a bridge: rows of a logger, line
// or packed frames as a bridge sends them, or a capture.
//
// At its own pace the file is cut at its rows, frames or captured reads, and
// each piece comes when it arrived or was measured, counted from the opening of
// the link. A piece without a readable time comes with the one before it. A gap
// in the file is a gap in the play, up to a day. Fast, everything comes at once, and a capture
// tells when its bytes arrived.
package filelink
