// Package pair reads a certificate and its key from two PEM files, of whoever listens and
// of whoever dials: it says which file is wrong and what would be right, and takes no key
// that every account of this machine may use.
//
// A Held pair is looked at again: new files count for the connections from then on, and
// where they are wrong, as between the writing of one and of the other, the pair before
// them stays.
package pair
