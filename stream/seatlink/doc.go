// Package seatlink keeps links with which whoever sits on a seat may look at it
// without an account: who made them, for which seat, and who withdrew them.
//
// What opens a link is its key, a random text of 130 bits that is shown once, to
// who makes the link. The record and the memory have its SHA-256 alone, which is
// enough for what nobody can guess. A link opens one seat until it is withdrawn,
// from which instant on its key opens nothing.
//
// Making and withdrawing are human actions in the record, and no inputs of the
// rules: a rehearsal judges the same with or without them. A link lasts as long as
// the record of its making: where the configuration has actions deleted, a link
// that was made before ends with the next start.
package seatlink
