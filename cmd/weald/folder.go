package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"weald/config"
	"weald/stream/journal"
	"weald/stream/journal/sqlite"
)

// recordFile is the file without which a folder holds no record.
const recordFile = "weald.db"

// dataOf returns the folder that a command is about: the one that was given, or
// the configuration's.
func dataOf(c *config.Config, given string) (string, error) {
	switch {
	case given != "":
		return given, nil
	case c.Data == "":
		return "", errors.New("the configuration keeps no record: its data: names no folder")
	}
	return c.Data, nil
}

// loadData loads a configuration, and returns with it the folder that a command is about.
func loadData(cmd *cobra.Command, file, given string) (*config.Config, string, error) {
	c, err := load(cmd, file)
	if err != nil {
		return nil, "", err
	}
	dir, err := dataOf(c, given)
	return c, dir, err
}

// errNoRecord is wrapped by the error of opening a record that is not there.
var errNoRecord = errors.New("there is no record")

// openRecord opens the record in a folder for a command, which makes none. If a
// daemon uses it the error is journal.ErrInUse.
func openRecord(ctx context.Context, dir string) (*sqlite.Store, error) {
	if _, err := os.Stat(filepath.Join(dir, recordFile)); errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%w in %s", errNoRecord, dir)
	}
	store, err := sqlite.Open(ctx, dir, sqlite.Options{Reserve: -1})
	if err != nil {
		return nil, fmt.Errorf("the record in %s: %w", dir, err)
	}
	store.KeepMended(ctx, store)
	return store, nil
}

// openOrMakeRecord opens the record in a folder for a command, and begins one where
// there is none, as the first start of a daemon does.
func openOrMakeRecord(ctx context.Context, dir string) (*sqlite.Store, error) {
	if _, err := os.Stat(filepath.Join(dir, recordFile)); !errors.Is(err, fs.ErrNotExist) {
		return openRecord(ctx, dir)
	}
	store, err := sqlite.Open(ctx, dir, sqlite.Options{Reserve: -1})
	if err != nil {
		return nil, fmt.Errorf("the record in %s: %w", dir, err)
	}
	return store, nil
}

// readRecord opens the record in a folder for a command that only reads. Beside a
// daemon that uses it, it is what the record held at that moment.
func readRecord(ctx context.Context, dir string) (*sqlite.Store, error) {
	store, err := openRecord(ctx, dir)
	if inUse(err) {
		return sqlite.Look(ctx, dir)
	}
	return store, err
}

// inUse reports whether an error of openRecord says that a daemon has the record.
func inUse(err error) bool { return errors.Is(err, journal.ErrInUse) }
