package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"weald/stream/journal/sqlite"
)

// glimpsePrefix begins the names of folders with copies for commands that read,
// in the data folder: the daemon can write there, and whoever may read the record
// can read there.
const glimpsePrefix = "glimpse-"

// readRecord opens the record in a folder for a command that only reads. If a
// daemon uses it, the daemon makes a copy, which is opened instead and which done
// removes: it costs as much room as the record for as long as the command takes,
// and reading takes nothing from the daemon. done is never nil.
func readRecord(ctx context.Context, dir string, tell func(copied, known int64)) (store *sqlite.Store, done func() error, err error) {
	nothing := func() error { return nil }
	store, err = openRecord(ctx, dir)
	if !inUse(err) {
		if err != nil {
			return nil, nothing, err
		}
		return store, store.Close, nil
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, nothing, err
	}
	copied, err := os.MkdirTemp(abs, glimpsePrefix)
	if err != nil {
		return nil, nothing, fmt.Errorf("a copy of the record that a daemon uses: %w", err)
	}
	remove := func() error { return os.RemoveAll(copied) }
	to := filepath.Join(copied, "record")
	if err = askDaemon(ctx, dir, question{Backup: to}, func(l answerLine) { tell(l.Copied, l.Known) }); err == nil {
		store, err = openRecord(ctx, to)
	}
	if err != nil {
		return nil, nothing, errors.Join(err, remove())
	}
	return store, func() error { return errors.Join(store.Close(), remove()) }, nil
}

// sweepGlimpses removes copies whose command was killed. The record is ours, and
// nobody can have asked yet.
func sweepGlimpses(dir string) {
	left, _ := filepath.Glob(filepath.Join(dir, glimpsePrefix+"*")) // the pattern is good
	for _, path := range left {
		_ = os.RemoveAll(path) // what stays costs room and nothing else
	}
}
