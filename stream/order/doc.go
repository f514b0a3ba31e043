// Package order makes files to order: somebody asks for a stretch of a place's
// record in a format, sees how far it has come, stops it or fetches the files.
//
// Orders are made one after another, since they are read from a record that the
// rules need first. Nothing of an order is there before all of it is. The newest
// few are held, with their files; what is older goes when there is another one,
// and all of it goes with the daemon, because the record can make it again.
package order
