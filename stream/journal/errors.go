package journal

import (
	"errors"
	"fmt"
)

// Errors of a caller who asks for what cannot be.
var (
	// ErrOrder means that an ordinal does not ascend.
	ErrOrder = errors.New("ordinals do not ascend")
	// ErrConflict means that somebody else wrote in between: read, and decide
	// again.
	ErrConflict = errors.New("somebody else changed it")
	// ErrNotFound means that there is no such thing.
	ErrNotFound = errors.New("not in the record")
	// ErrClosed means that Close was called.
	ErrClosed = errors.New("the record is closed")
)

// Errors of the store itself.
var (
	// ErrFull means that there is no room. Nothing of the call was kept, and
	// nothing kept before is lost. It goes away by itself when there is room.
	ErrFull = errors.New("no room for the record")
	// ErrLater, beside another one, takes back that nothing was kept: the call stands in
	// the log of a record that several machines keep, and is carried out in its turn. In
	// another form it would be a second one.
	ErrLater = errors.New("it is carried out when it can be")
	// ErrUnreached means that a record which several machines keep was not reached in time.
	// What became of the call is not known; made again as it was, it is the same one.
	ErrUnreached = errors.New("no majority of the servers of the log can be reached")
	// ErrUnchanged, beside ErrUnreached, takes back that this is not known: nothing of the call
	// was sent, and nothing of it will be kept.
	ErrUnchanged = errors.New("nothing was changed")
	// ErrInUse means that another process has the record open.
	ErrInUse = errors.New("another process uses the record")
	// ErrForeign means that something else is stored there, or a record of a
	// newer program.
	ErrForeign = errors.New("not a record of this program")
	// ErrBroken means that the disk failed in a way after which nobody knows
	// what it holds. Nothing more is kept until the record is opened again.
	ErrBroken = errors.New("the disk failed")
)

// A Loss is something that was kept and cannot be read any more.
type Loss struct {
	File   string // its name in the record; "" where there are no files
	Source string // of blocks; "" for ticks, "entries" for entries
	// First and Last are the numbers of the blocks, or the positions of the
	// entries, 0 where they are not known.
	First, Last uint64
	Err         error // why, if that is known
}

// Error says what is lost.
func (l *Loss) Error() string {
	s := l.What() + " lost"
	if l.File != "" {
		s = l.File + ": " + s
	}
	if l.Err != nil {
		s += ": " + l.Err.Error()
	}
	return s
}

// What names what is lost, such as "blocks 3 to 5 of hub/mat4".
func (l *Loss) What() string {
	one, many, of := "block", "blocks", " of "+l.Source
	switch l.Source {
	case "":
		one, many, of = "group of ticks", "groups of ticks", ""
	case Entries:
		one, many, of = "entry", "entries", ""
	}
	switch {
	case l.First == 0:
		return "some " + many + of
	case l.First == l.Last:
		return fmt.Sprintf("%s %d%s", one, l.First, of)
	}
	return fmt.Sprintf("%s %d to %d%s", many, l.First, l.Last, of)
}

// Unwrap returns why.
func (l *Loss) Unwrap() error { return l.Err }

// Entries is the Source of a Loss or a Finding that is about entries. It is not
// the name of a source: those have a slash in them.
const Entries = "entries"
