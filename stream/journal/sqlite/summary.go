package sqlite

import (
	"database/sql"

	"weald/ingest/sample"
)

// A summary says what a day's file holds, so that it need not be opened to know
// that it holds nothing of interest.
type summary struct {
	blocks            int64
	firstOrd, lastOrd uint64
	widest            uint64 // most that a block's last ordinal is after its first
	firstAt, lastAt   sample.Instant
}

// add takes a block into the summary.
func (m *summary) add(r *blockRow) {
	if m.blocks == 0 {
		m.firstOrd, m.lastOrd, m.firstAt, m.lastAt = r.firstOrd, r.lastOrd, r.firstAt, r.lastAt
	}
	m.blocks++
	m.firstOrd, m.lastOrd = min(m.firstOrd, r.firstOrd), max(m.lastOrd, r.lastOrd)
	m.firstAt, m.lastAt = min(m.firstAt, r.firstAt), max(m.lastAt, r.lastAt)
	m.widest = max(m.widest, r.lastOrd-r.firstOrd)
}

// args are the columns of a summary, in the order of both tables that hold one.
func (m *summary) args() []any {
	return []any{m.blocks, int64(m.firstOrd), int64(m.lastOrd), int64(m.widest), int64(m.firstAt), int64(m.lastAt)}
}

const summaryColumns = "blocks, first_ord, last_ord, widest_ord, first_at, last_at"

// summaryCells is the inverse of args, for Scan.
type summaryCells struct{ blocks, firstOrd, lastOrd, widest, firstAt, lastAt int64 }

func (c *summaryCells) targets() []any {
	return []any{&c.blocks, &c.firstOrd, &c.lastOrd, &c.widest, &c.firstAt, &c.lastAt}
}

func (c *summaryCells) summary() summary {
	return summary{c.blocks, uint64(c.firstOrd), uint64(c.lastOrd), uint64(c.widest), sample.Instant(c.firstAt), sample.Instant(c.lastAt)}
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
}

func (r *blockRow) insert(tx *sql.Tx, source int64, verb string) error {
	_, err := tx.Exec(verb+" INTO blocks(source, number, first_ord, last_ord, first_at, last_at, body) VALUES(?,?,?,?,?,?,?)",
		source, int64(r.number), int64(r.firstOrd), int64(r.lastOrd), int64(r.firstAt), int64(r.lastAt), r.body)
	return err
}

func saveSummary(tx *sql.Tx, m *summary) error {
	_, err := tx.Exec("INSERT OR REPLACE INTO summary(one, "+summaryColumns+") VALUES(1,?,?,?,?,?,?)", m.args()...)
	return err
}
