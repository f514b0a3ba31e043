package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"time"

	driver "modernc.org/sqlite"

	"weald/stream/journal"
)

// Both kinds of files say whose they are and in which version, in the places
// that SQLite has for that.
const (
	mainID        = 0x77656c64 // "weld"
	dayID         = 0x77656c72 // "welr"
	schemaVersion = 1
	pageSize      = 4096
)

const mainSchema = `
CREATE TABLE entries(
	position INTEGER PRIMARY KEY,
	kind     TEXT NOT NULL,      -- "" where one was deleted on purpose
	at       INTEGER NOT NULL,   -- ns since 1970, UTC
	ord      INTEGER,            -- of an input
	place    TEXT NOT NULL,
	body     BLOB NOT NULL) STRICT;
CREATE INDEX entries_kind  ON entries(kind, position);
CREATE INDEX entries_place ON entries(place, position);
CREATE INDEX entries_ord   ON entries(ord) WHERE ord IS NOT NULL;

CREATE TABLE documents(
	id      INTEGER PRIMARY KEY,
	name    TEXT NOT NULL,
	version INTEGER NOT NULL,
	written INTEGER NOT NULL,
	gone    INTEGER NOT NULL,
	body    BLOB NOT NULL) STRICT;
CREATE UNIQUE INDEX documents_name ON documents(name, version);

CREATE TABLE snapshots(
	ord  INTEGER PRIMARY KEY,
	body BLOB NOT NULL) STRICT;

CREATE TABLE series(
	id    INTEGER PRIMARY KEY,
	place TEXT NOT NULL,
	name  TEXT NOT NULL,
	UNIQUE(place, name)) STRICT;

CREATE TABLE history(
	id     INTEGER PRIMARY KEY,
	series INTEGER NOT NULL,
	tier   INTEGER NOT NULL,
	window INTEGER NOT NULL,     -- which span of time, see history.go
	body   BLOB NOT NULL) STRICT;
CREATE INDEX history_window ON history(series, tier, window);

CREATE TABLE retired(            -- what was deleted on purpose
	id   INTEGER PRIMARY KEY,
	body BLOB NOT NULL) STRICT;

CREATE TABLE progress(           -- how far entries, sources and each file had come
	key  TEXT PRIMARY KEY,
	body BLOB NOT NULL) STRICT;
`

const daySchema = `
CREATE TABLE sources(
	id   INTEGER PRIMARY KEY,
	name TEXT NOT NULL UNIQUE) STRICT;   -- "" for ticks

CREATE TABLE blocks(
	id        INTEGER PRIMARY KEY,
	source    INTEGER NOT NULL,
	number    INTEGER NOT NULL,
	first_ord INTEGER NOT NULL,
	last_ord  INTEGER NOT NULL,
	first_at  INTEGER NOT NULL,
	last_at   INTEGER NOT NULL,
	body      BLOB NOT NULL) STRICT;
CREATE UNIQUE INDEX blocks_ord    ON blocks(first_ord);
CREATE INDEX        blocks_source ON blocks(source, number, first_at, last_at, first_ord, last_ord);

CREATE TABLE progress(                 -- of this file, and in its last call
	key  TEXT PRIMARY KEY,
	body BLOB NOT NULL) STRICT;
`

// prepare tells SQLite, once for the process, to lock so that another part of
// the process may read a file without taking the locks away, and to sync data
// only. Where the system knows neither, SQLite's own ways are as safe.
var prepare = sync.OnceFunc(func() {
	_, _ = driver.OFDLocking(true)
	_, _ = driver.Fdatasync(true)
})

type access int

const (
	writing access = iota
	reading
)

// connect opens a file. Writers have one connection, readers a few. It fails with
// errEmptied where SQLite would take the log of the file away.
func connect(path string, how access) (*sql.DB, error) {
	prepare()
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	if emptied(abs) {
		return nil, fmt.Errorf("%s: %w", filepath.Base(path), errEmptied)
	}
	q := url.Values{"_pragma": {"busy_timeout(10000)"}}
	if how == writing {
		q["_pragma"] = append(q["_pragma"], "synchronous(FULL)", "secure_delete(1)", "journal_size_limit(8388608)", "temp_store(MEMORY)")
		q.Set("_txlock", "immediate")
	} else {
		// What is read is read once, in order: the system has it, and another copy is of no use.
		q["_pragma"] = append(q["_pragma"], "temp_store(MEMORY)", "cache_size(-256)")
		// A file that is gone does not come back empty. And a reader that is the last to close
		// a file must not put its log away: it would do so by name, and while a file is mended
		// the log of that name may already be that of the new one.
		q.Set("mode", "ro")
	}
	u := url.URL{Scheme: "file", Path: abs, RawQuery: q.Encode()}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		return nil, err
	}
	if how == writing {
		db.SetMaxOpenConns(1)
	} else {
		db.SetMaxOpenConns(4)
		db.SetConnMaxIdleTime(time.Minute)
	}
	return db, nil
}

// establish opens a file for writing, makes its tables if it is new, and
// refuses what is not a file of that kind.
func establish(ctx context.Context, path string, k *kind) (*sql.DB, error) {
	_, err := os.Stat(path)
	isNew := os.IsNotExist(err)
	if isNew { // what SQLite makes anybody may read; its logs take the mode of the file
		f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
		if err == nil {
			err = f.Close()
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", filepath.Base(path), translate(err))
		}
	}
	db, err := connect(path, writing)
	if err != nil {
		return nil, err
	}
	err = adopt(ctx, db, k.id, k.schema)
	if err == nil {
		err = keepLog(ctx, db)
	}
	if err != nil {
		db.Close()
		return nil, fmt.Errorf("%s: %w", filepath.Base(path), translate(err))
	}
	if isNew {
		if err := syncDir(filepath.Dir(path)); err != nil {
			db.Close()
			return nil, err
		}
	}
	return db, nil
}

// keepLog has a file written by way of a log. It is for files that are known to be
// ours: it writes into them.
func keepLog(ctx context.Context, db *sql.DB) error {
	_, err := db.ExecContext(ctx, "PRAGMA journal_mode(WAL)")
	return err
}

// marks returns what a file says that it is.
func marks(ctx context.Context, db *sql.DB) (id, version int64, err error) {
	if err := db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&id); err != nil {
		return 0, 0, err
	}
	err = db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version)
	return id, version, err
}

func adopt(ctx context.Context, db *sql.DB, id int64, schema string) error {
	gotID, version, err := marks(ctx, db)
	if err != nil {
		return err
	}
	if gotID == id && version == schemaVersion {
		return nil
	}
	mark := fmt.Sprintf("PRAGMA application_id=%d; PRAGMA user_version=%d;", id, schemaVersion)
	var tables int
	if err := db.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema").Scan(&tables); err != nil {
		return err
	}
	if tables > 0 {
		if same, err := sameTables(ctx, db, schema); err != nil {
			return err
		} else if same {
			// The mark alone is wrong: it is damaged, and the tables tell.
			_, err := db.ExecContext(ctx, mark)
			return err
		}
	}
	switch {
	case gotID == id && version > schemaVersion:
		return fmt.Errorf("a newer version of weald made it, in form %d where this one knows %d, and it is left as it is: use that version, or a backup from before: %w", version, schemaVersion, journal.ErrForeign)
	case gotID == id:
		return fmt.Errorf("its tables are not those of version %d: %w", version, errCorrupt)
	case gotID != 0 || tables != 0:
		return journal.ErrForeign
	}
	if err := keepLog(ctx, db); err != nil {
		return err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if _, err := tx.ExecContext(ctx, schema+mark); err != nil {
		return err
	}
	return tx.Commit()
}

// sameTables reports whether a file has exactly the tables of a schema.
func sameTables(ctx context.Context, db *sql.DB, schema string) (bool, error) {
	const query = "SELECT coalesce(group_concat(name || ' ' || coalesce(sql, ''), ';' ORDER BY name), '') FROM sqlite_schema"
	model, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return false, err
	}
	defer model.Close()
	model.SetMaxOpenConns(1)
	if _, err := model.ExecContext(ctx, schema); err != nil {
		return false, err
	}
	var want, got string
	if err := model.QueryRowContext(ctx, query).Scan(&want); err != nil {
		return false, err
	}
	err = db.QueryRowContext(ctx, query).Scan(&got)
	return got == want, err
}

// syncDir makes names in a folder durable.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}
