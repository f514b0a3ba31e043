// Package sqlite keeps a record in SQLite files in one folder, so that any
// program that reads SQLite can open it.
//
//	weald.db                  entries, documents, snapshots, history
//	readings-2026-03-01.db    blocks of scans, and ticks, of one day
//	reserve                   room that entries may use when the disk is full
//	lock                      held while a process has the record open
//	….damaged-1               a file as it was before it was mended
//
// What is kept is in columns named body, in the encodings of stream/record,
// each with a checksum and with its own name and number. All other columns are
// an index to them: they can be built again from the bodies, and they are, when
// a file turns out to be damaged.
//
// # What survives
//
// Every commit reaches the disk before it is acknowledged (write-ahead log,
// synchronous=FULL). If the process is killed or the power goes, everything
// acknowledged is there. A torn end of a log is not acknowledged and goes away.
//
// A flipped bit costs the block or the entry that it is in. Where it hits what
// SQLite needs to find its way, the file is mended: every body in it that is
// whole, wherever it is found in the pages of the file and of its log, goes into
// a new file; the damaged one stays beside it. Numbers without holes tell which
// are missing.
//
// A full disk stops readings (journal.ErrFull) but not entries: they go on in
// the room of the reserve. When there is room again the reserve is made anew and
// readings go on by themselves.
//
// # Days
//
// All that one call of AppendReadings brings goes into one file in one commit:
// that of the UTC day of its latest arrival on the host's clock. A clock that is
// set back reopens the file of an earlier day; nothing is lost or moved, as
// ordinals, not days, give the order. What a bridge had stored and sent later is
// in the file of the day on which it came.
//
// # Blocks that grow
//
// The row of a block that is kept while it fills is replaced by a longer one, in
// the file of the same day. Older versions of it lie about in logs for a while;
// when a file is mended the longest counts. Each block says where the one before
// it ended: one that is there as it was before it grew is told as lost.
package sqlite
