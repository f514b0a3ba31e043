// Package calmlog keeps a log readable when something goes wrong again and again: after
// a few lines that say the same of the same, the others are counted, and how many there
// were is said when the minute is over. A client that knocks with a wrong password a
// thousand times must neither fill a disk nor hide what else there is.
package calmlog
