// Package cert has the certificate that the pages are served with.
//
// Either it lies in two files that somebody else keeps, or an authority of this
// machine's own makes and renews it: a CA that clients are told to trust once, and
// that can vouch for nothing but the names it was made for, so that its key in the
// wrong hands opens no other site. A Keeper looks at the files every few seconds and
// takes what is new for the connections that come from then on; those that are open
// stay. What is wrong with new files is said, and the old certificate stays.
//
// Nothing here asks for the time but through what it is given: a certificate that has
// ended is still served, since pages with a warning are better than none, and
// Keeper.Trouble, Check and the metric say that it has.
package cert
