package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// holeInDoubt is how long nothing must have been recorded for ages to be in
// doubt: a clock that jumps ahead makes everything old at once.
const holeInDoubt = 7 * 24 * time.Hour

// settled is how many days of readings there must be after such a hole for ages
// to be believed again.
const settled = 3

// PlanRetention implements journal.Retainer.
func (s *Store) PlanRetention(ctx context.Context, limits journal.Limits, now sample.Instant) (journal.Plan, error) {
	files, err := s.files()
	if err != nil {
		return journal.Plan{}, err
	}
	p := journal.Plan{Now: now, Doubt: doubt(files, now)}
	for _, class := range journal.Classes() {
		limit := limits[class]
		if p.Doubt != "" {
			limit.Age = 0
		}
		if limit.Age == 0 && limit.Bytes == 0 {
			continue
		}
		if class == journal.Readings {
			p.Deletions = append(p.Deletions, planFiles(files, limit, now)...)
			continue
		}
		d, err := s.planRows(ctx, class, limit, now)
		if err != nil {
			return journal.Plan{}, err
		}
		if d.Count > 0 {
			p.Deletions = append(p.Deletions, d)
		}
	}
	return p, nil
}

// A sized is a day's file with what the plan has to know of it.
type sized struct {
	day
	begins sample.Instant
	bytes  int64
	newest bool // or being written: it never goes
}

// files returns the files that are there, that with the least ordinal first.
func (s *Store) files() ([]sized, error) {
	s.days.write.Lock()
	current := s.days.current
	s.days.write.Unlock()
	var all []sized
	for _, one := range s.days.list() {
		if one.missing || one.state == retired {
			continue
		}
		at, err := time.Parse(dayPrefix+"2006-01-02"+daySuffix, one.file)
		if err != nil {
			continue // a file with a name of somebody else's
		}
		f := sized{day: one, begins: sample.At(at), newest: one.file == current}
		for _, suffix := range []string{"", "-wal"} {
			if info, err := os.Stat(s.days.path(one.file) + suffix); err == nil {
				f.bytes += info.Size()
			} else if !errors.Is(err, os.ErrNotExist) {
				return nil, err
			}
		}
		all = append(all, f)
	}
	if len(all) > 0 {
		all[len(all)-1].newest = true
	}
	return all, nil
}

// doubt says why ages cannot be trusted, "" if they can.
func doubt(files []sized, now sample.Instant) string {
	var begins []sample.Instant
	for _, f := range files {
		begins = append(begins, f.begins)
	}
	slices.Sort(begins)
	for k := len(begins) - 1; k >= max(0, len(begins)-settled); k-- {
		next := now
		if k+1 < len(begins) {
			next = begins[k+1]
		}
		if next.Sub(begins[k]) > holeInDoubt {
			return fmt.Sprintf("nothing was recorded between %s and %s: if the clock jumped, nothing is as old as it seems",
				begins[k].Time().Format(time.DateOnly), next.Time().Format(time.DateOnly))
		}
	}
	return ""
}

func planFiles(files []sized, limit journal.Limit, now sample.Instant) []journal.Deletion {
	total := int64(0)
	for _, f := range files {
		total += f.bytes
	}
	var plan []journal.Deletion
	for _, f := range files {
		old := limit.Age > 0 && f.begins.Add(24*time.Hour) <= now.Add(-limit.Age)
		large := limit.Bytes > 0 && total > limit.Bytes
		needed := limit.Spare > 0 && f.sum.lastOrd >= limit.Spare
		if f.newest || needed || !old && !large {
			continue
		}
		total -= f.bytes
		plan = append(plan, journal.Deletion{Class: journal.Readings, File: f.file, From: f.sum.firstAt, To: f.sum.lastAt,
			Count: int(f.sum.blocks), Bytes: f.bytes, UpTo: int64(f.sum.lastOrd)})
	}
	return plan
}

// Retire implements journal.Retainer.
func (s *Store) Retire(ctx context.Context, p journal.Plan) error {
	for _, d := range p.Deletions {
		var err error
		if d.Class == journal.Readings {
			err = s.days.retire(ctx, d)
		} else {
			err = s.retireRows(ctx, d)
		}
		if err != nil {
			return fmt.Errorf("deleting %s %s: %w", d.Class, d.File, err)
		}
	}
	return nil
}

// retire deletes a file. The main file knows first, so that a crash in between
// cannot make a loss of it.
func (d *days) retire(ctx context.Context, del journal.Deletion) error {
	d.write.Lock()
	defer d.write.Unlock()
	one, known := d.get(del.File)
	if !known || one.missing || del.File == d.current || int64(one.sum.lastOrd) != del.UpTo {
		return nil // gone already, or not what was shown
	}
	notes, err := d.notes(ctx, one)
	if err != nil {
		return err
	}
	heads := map[string]sourceHead{}
	for _, n := range notes {
		heads[n.Source] = d.heads[n.Source]
	}
	one.state = retired
	err = d.s.write(lasting(ctx), &request{reserved: true, do: func(tx *sql.Tx) error {
		for _, n := range notes {
			if _, err := tx.Exec("INSERT INTO retired(body) VALUES(?)", n.Append(nil)); err != nil {
				return err
			}
		}
		return saveDay(tx, one, heads)
	}})
	if err != nil {
		return err
	}
	return d.remove(ctx, del.File)
}

// notes returns which blocks a file holds. Where no other file can have blocks
// in between, holes are taken in: what was lost is not missed any more.
func (d *days) notes(ctx context.Context, one day) ([]record.Retired, error) {
	alone := true
	for _, other := range d.list() {
		if other.file != one.file && other.sum.meets(one.sum.firstOrd, one.sum.lastOrd) {
			alone = false
		}
	}
	db, err := connect(d.path(one.file), reading)
	if err != nil {
		return nil, err
	}
	defer db.Close()
	type source struct {
		name    string
		lastOrd uint64
		numbers spans
	}
	byID := map[int64]*source{}
	var order []int64
	err = eachRow(ctx, db, "SELECT b.source, s.name, b.number, b.last_ord FROM blocks b INDEXED BY blocks_source JOIN sources s ON s.id = b.source ORDER BY b.source, b.number", nil, func(r *sql.Rows) error {
		var id, number, ord int64
		var name string
		if err := r.Scan(&id, &name, &number, &ord); err != nil {
			return err
		}
		if byID[id] == nil {
			byID[id] = &source{name: name}
			order = append(order, id)
		}
		x := byID[id]
		x.lastOrd = max(x.lastOrd, uint64(ord))
		x.numbers.add(uint64(number))
		return nil
	})
	var notes []record.Retired
	for _, id := range order {
		x := byID[id]
		if alone {
			x.numbers = spans{{x.numbers[0].first, x.numbers[len(x.numbers)-1].last}}
		}
		for _, r := range x.numbers {
			notes = append(notes, record.Retired{Source: x.name, First: r.first, Last: r.last, LastOrd: x.lastOrd})
		}
	}
	return notes, err
}
