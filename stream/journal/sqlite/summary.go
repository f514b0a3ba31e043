package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"math"

	"weald/ingest/sample"
	"weald/stream/record"
)

// A summary says what a day's file holds, so that it need not be opened to know
// that it holds nothing of interest.
type summary struct {
	blocks            uint64
	firstOrd, lastOrd uint64
	widest            uint64 // most that a block's last ordinal is after its first
	firstAt, lastAt   sample.Instant
}

// add takes a block into the summary: a new one, or one that has grown.
func (m *summary) add(r *blockRow, isNew bool) {
	if m.blocks == 0 {
		m.firstOrd, m.lastOrd, m.firstAt, m.lastAt = r.firstOrd, r.lastOrd, r.firstAt, r.lastAt
	}
	if isNew {
		m.blocks++
	}
	m.firstOrd, m.lastOrd = min(m.firstOrd, r.firstOrd), max(m.lastOrd, r.lastOrd)
	m.firstAt, m.lastAt = min(m.firstAt, r.firstAt), max(m.lastAt, r.lastAt)
	m.widest = max(m.widest, r.lastOrd-r.firstOrd)
}

// progress is a summary as it is kept.
func (m *summary) progress(file string, state int) record.Progress {
	return record.Progress{File: file, State: uint8(state), Blocks: m.blocks, FirstOrd: m.firstOrd, LastOrd: m.lastOrd,
		Widest: m.widest, FirstAt: m.firstAt, LastAt: m.lastAt}
}

func summaryOf(p *record.Progress) summary {
	return summary{p.Blocks, p.FirstOrd, p.LastOrd, p.Widest, p.FirstAt, p.LastAt}
}

// meets reports whether there can be an ordinal of the file in first…last.
func (m *summary) meets(first, last uint64) bool {
	return m.blocks > 0 && m.firstOrd <= last && m.lastOrd >= first
}

// lies reports whether there can be a scan of the file with from <= At < to.
func (m *summary) lies(from, to sample.Instant) bool {
	return m.blocks > 0 && m.firstAt < to && m.lastAt >= from
}

// A blockRow is a block or a group of ticks as it lies in a file.
type blockRow struct {
	source            string // "" for ticks
	number            uint64
	firstOrd, lastOrd uint64
	firstAt, lastAt   sample.Instant
	body              []byte
	after             uint64 // what a block says the one before it ended with, 0 for nothing
	grows             bool   // it takes the place of the row that begins as it does

	// Of one that is read: where it lies, and what decode has found in it.
	file  string
	block *record.Block
	ticks *record.Ticks
	err   error
}

func (r *blockRow) insert(tx *sql.Tx, source int64, verb string) error {
	_, err := tx.Exec(verb+" INTO blocks(source, number, first_ord, last_ord, first_at, last_at, body) VALUES(?,?,?,?,?,?,?)",
		source, int64(r.number), int64(r.firstOrd), int64(r.lastOrd), int64(r.firstAt), int64(r.lastAt), r.body)
	return err
}

// grow puts a longer body into a row, and reports whether the row is there.
func (r *blockRow) grow(tx *sql.Tx, source int64) (bool, error) {
	res, err := tx.Exec("UPDATE blocks SET last_ord = ?, first_at = ?, last_at = ?, body = ? WHERE first_ord = ? AND source = ? AND number = ?",
		int64(r.lastOrd), int64(r.firstAt), int64(r.lastAt), r.body, int64(r.firstOrd), source, int64(r.number))
	if err != nil {
		return false, err
	}
	n, err := res.RowsAffected()
	return n > 0, err
}

// Keys of the table progress that are not the name of a file.
const (
	ofEntries = "entries"
	ofSources = "sources" // all of them, when a file was sealed
	ofFile    = "file"    // in a file of readings: itself, and the sources of the last call
)

func saveProgress(tx *sql.Tx, key string, p record.Progress) error {
	_, err := tx.Exec("INSERT OR REPLACE INTO progress(key, body) VALUES(?,?)", key, p.Append(nil))
	return err
}

// readProgress returns all of the table progress of a file that is whole, by key.
func readProgress(ctx context.Context, db *sql.DB) (map[string]record.Progress, error) {
	all := map[string]record.Progress{}
	err := eachRow(ctx, db, "SELECT key, body FROM progress", nil, func(r *sql.Rows) error {
		var key string
		var body sql.RawBytes
		if err := r.Scan(&key, &body); err != nil {
			return err
		}
		if p, err := record.DecodeProgress(body); err == nil {
			all[key] = p
		}
		return nil
	})
	return all, err
}

// readDay learns what a file of readings holds, and how far the sources in it
// have come. If its summary is not whole, or not there, the file is damaged.
func readDay(ctx context.Context, db *sql.DB) (summary, map[string]sourceHead, error) {
	all, err := readProgress(ctx, db)
	if err != nil {
		return summary{}, nil, err
	}
	heads, err := readHeads(ctx, db)
	if err != nil {
		return summary{}, nil, err
	}
	p, ok := all[ofFile]
	if !ok && len(heads) > 0 {
		return summary{}, nil, fmt.Errorf("there is no summary: %w", errCorrupt)
	}
	for _, x := range p.Sources {
		h := heads[x.Source]
		heads[x.Source] = sourceHead{max(h.number, x.Number), max(h.ord, x.Ord)}
	}
	return summaryOf(&p), heads, nil
}

// readHeads seeks the last block of every source of a file. It goes from source
// to source in the blocks themselves: one whose name is lost would otherwise
// begin to count anew.
func readHeads(ctx context.Context, db *sql.DB) (map[string]sourceHead, error) {
	heads := map[string]sourceHead{}
	err := eachRow(ctx, db, `WITH RECURSIVE each(source) AS (SELECT min(source) FROM blocks
			UNION ALL SELECT (SELECT min(source) FROM blocks WHERE source > each.source) FROM each WHERE each.source IS NOT NULL)
		SELECT s.name, b.number, b.last_ord FROM each LEFT JOIN sources s ON s.id = each.source
		JOIN blocks b ON b.id = (SELECT id FROM blocks WHERE source = each.source ORDER BY number DESC LIMIT 1)`, nil, func(r *sql.Rows) error {
		var source string
		var number, ord int64
		err := r.Scan(&source, &number, &ord)
		heads[source] = sourceHead{uint64(number), uint64(ord)}
		return err
	})
	return heads, err
}

// summarise counts a file of readings anew. What is noted of its sources stays.
func summarise(tx *sql.Tx) error {
	var n, firstOrd, lastOrd, widest, firstAt, lastAt int64
	err := tx.QueryRow(`SELECT count(*), coalesce(min(first_ord), 0), coalesce(max(last_ord), 0), coalesce(max(last_ord - first_ord), 0),
		coalesce(min(first_at), 0), coalesce(max(last_at), 0) FROM blocks INDEXED BY blocks_source`).Scan(&n, &firstOrd, &lastOrd, &widest, &firstAt, &lastAt)
	if err != nil {
		return err
	}
	m := summary{uint64(n), uint64(firstOrd), uint64(lastOrd), uint64(widest), sample.Instant(firstAt), sample.Instant(lastAt)}
	was, err := noted(tx, ofFile)
	if err != nil {
		return err
	}
	p := m.progress(was.File, open)
	p.Sources = was.Sources
	return saveProgress(tx, ofFile, p)
}

// noted returns one of the table progress; nothing if it is not there or not
// whole.
func noted(tx *sql.Tx, key string) (record.Progress, error) {
	rows, err := tx.Query("SELECT body FROM progress WHERE key = ?", key)
	if err != nil {
		return record.Progress{}, err
	}
	defer rows.Close()
	var p record.Progress
	for rows.Next() {
		var body sql.RawBytes
		if err := rows.Scan(&body); err != nil {
			return p, err
		}
		if whole, err := record.DecodeProgress(body); err == nil {
			p = whole
		}
	}
	return p, rows.Err()
}

// keepProgress puts what is found while a file is built anew together with what
// was found before: who is further is right.
func keepProgress(tx *sql.Tx, key string, found record.Progress) error {
	was, err := noted(tx, key)
	if err != nil {
		return err
	}
	p := found
	p.Position, p.Ord = max(was.Position, found.Position), max(was.Ord, found.Ord)
	p.State = max(was.State, found.State)
	p.Blocks, p.LastOrd, p.Widest = max(was.Blocks, found.Blocks), max(was.LastOrd, found.LastOrd), max(was.Widest, found.Widest)
	if was.Blocks > 0 {
		p.FirstOrd, p.FirstAt, p.LastAt = min(was.FirstOrd, found.FirstOrd), min(was.FirstAt, found.FirstAt), max(was.LastAt, found.LastAt)
	}
	p.Sources = furthest(was.Sources, found.Sources)
	return saveProgress(tx, key, p)
}

// furthest returns all sources of both, each as far as it came in either.
func furthest(a, b []record.SourceProgress) []record.SourceProgress {
	var all []record.SourceProgress
	at := map[string]int{}
	for _, some := range [][]record.SourceProgress{a, b} {
		for _, x := range some {
			i, ok := at[x.Source]
			if !ok {
				i = len(all)
				at[x.Source] = i
				all = append(all, record.SourceProgress{Source: x.Source})
			}
			all[i].Number, all[i].Ord = min(max(all[i].Number, x.Number), math.MaxInt64), min(max(all[i].Ord, x.Ord), math.MaxInt64)
		}
	}
	return all
}
