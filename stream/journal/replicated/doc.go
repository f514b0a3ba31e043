// Package replicated keeps a record on several machines at once: the changes of it go
// through one ordered log, which NATS JetStream replicates, and every machine makes of
// them the same SQLite files as a machine that is alone.
//
// # How
//
// Every call that changes a record becomes a message of one stream. It is acknowledged
// when a majority of the servers has it on disk. Each Journal follows the stream and
// gives its own store the calls in the order of the stream, those of others and its
// own; whether one is refused (journal.ErrOrder, journal.ErrConflict) depends on nothing
// but the calls before it, so all machines agree without asking each other. A call
// returns when it is in the log and in the own store: whoever wrote reads what was
// written. What the others have read of it is a moment behind.
//
// How far a store has come is kept in the transaction of what it was given
// (sqlite.Following), so that no crash loses or doubles a call.
//
// # What may fail
//
// While no majority of the servers can be reached, or they agree on a new leader (up to
// 8 s), calls wait, and go on by themselves, for Options.Within at most; a call that ends
// without an answer may be made again, and is kept once. Messages carry an id, which the
// servers compare with those of the last hour. A call in parts whose end may have been sent
// is a new one when it is made again.
//
// The stream has no holes, as nothing may be deleted from it but its beginning. Where a
// server has lost a message (a flipped bit costs it one, or a whole file of them,
// without a word) whoever follows it stops and says which: journal.ErrBroken. A machine
// that was away for longer than the stream is kept says that too.
//
// A store whose disk is full stops following until there is room: calls return
// journal.ErrFull, on this machine.
package replicated
