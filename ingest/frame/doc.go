// Package frame turns bytes into frames and frames into bytes.
//
// There are three formats: line (ASCII, one scan a line), packed (binary,
// COBS-framed on a byte stream, bare in a message) and delimited (text columns
// of a logger that already exists). All three give the same Frame. A decoder
// trusts nothing: damage costs the frames that were damaged and no other, is
// counted by reason, and never panics or grows a buffer beyond its format's
// limit.
//
// The package is pure: it does no I/O and reads no clock.
package frame
