package sqlite

import (
	"context"
	"errors"
	"fmt"
	"syscall"

	driver "modernc.org/sqlite"
	codes "modernc.org/sqlite/lib"

	"weald/stream/journal"
)

// errCorrupt means that SQLite cannot find its way in a file.
var errCorrupt = errors.New("the file is damaged")

// translate gives errors of SQLite the meaning that they have for a record. It
// leaves others as they are.
func translate(err error) error {
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		return fmt.Errorf("%w: %w", journal.ErrFull, err)
	}
	var e *driver.Error
	if !errors.As(err, &e) {
		return err
	}
	switch code := e.Code(); {
	case code == codes.SQLITE_IOERR_SHMSIZE:
		// The index of the log could not grow: that too is a full disk.
		return fmt.Errorf("%w: %w", journal.ErrFull, err)
	case code&0xff == codes.SQLITE_FULL:
		return fmt.Errorf("%w: %w", journal.ErrFull, err)
	case code == codes.SQLITE_IOERR_SHORT_READ:
		// A file that is shorter than it says: the disk has given all there is.
		return fmt.Errorf("%w: %w", errCorrupt, err)
	case code&0xff == codes.SQLITE_CORRUPT, code&0xff == codes.SQLITE_NOTADB,
		code == codes.SQLITE_ERROR, code&0xff == codes.SQLITE_READONLY, code&0xff == codes.SQLITE_MISMATCH:
		// All statements are fixed and known to be good. One that SQLite does
		// not understand, or may not run, is about a file that has changed.
		return fmt.Errorf("%w: %w", errCorrupt, err)
	case code == codes.SQLITE_CONSTRAINT_UNIQUE:
		// Only ordinals are unique and the caller's: two inputs have one.
		return fmt.Errorf("%w: %w", journal.ErrOrder, err)
	case code&0xff == codes.SQLITE_IOERR:
		return fmt.Errorf("%w: %w", journal.ErrBroken, err)
	}
	return err
}

// lasting is for work that must not be cut in the middle by its caller's
// patience: what is on its way to the disk arrives.
func lasting(ctx context.Context) context.Context { return context.WithoutCancel(ctx) }
