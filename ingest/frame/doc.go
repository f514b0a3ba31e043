// Package frame turns bytes into frames and frames into bytes.
//
// There are three formats: line (ASCII, one scan a line; NewLine, AppendLine),
// packed (binary, COBS-framed on a byte stream, bare in a message; NewPacked,
// AppendWire, AppendPacked) and delimited (text columns of a logger that
// already exists; NewDelimited, Delimited.AppendRow). All three give the same
// Frame. A decoder trusts nothing: damage costs the frames that were damaged
// and no other, is counted by reason, and never panics or grows a buffer
// beyond its format's limit. However the bytes are cut into calls of Feed, the
// frames are the same.
//
// A checksum, where there is one, is looked at before anything else, as no
// other field of a damaged frame can be believed. What decodes encodes again:
// to the same bytes for packed frames, to the same frame for text.
//
// The package is pure: it does no I/O and reads no clock. A decoder belongs to
// one goroutine.
package frame
