package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// windowOf returns how long one window of a tier is. Every row of history lies
// within one, so that a span of time is a range of windows.
func windowOf(t record.Tier) sample.Instant {
	switch t {
	case record.Second:
		return sample.Instant(10 * time.Minute)
	case record.Minute:
		return sample.Instant(4 * time.Hour)
	default:
		return sample.Instant(5 * 24 * time.Hour)
	}
}

// window returns the index of the window that an instant is in.
func window(t record.Tier, at sample.Instant) int64 {
	w := windowOf(t)
	if i := at / w; at%w < 0 {
		return int64(i) - 1
	} else {
		return int64(i)
	}
}

// PutHistory implements journal.History.
func (s *Store) PutHistory(ctx context.Context, stretches ...record.Stretch) error {
	if err := s.mayWrite(ctx); err != nil {
		return err
	}
	var parts []record.Stretch
	for i := range stretches {
		if err := stretches[i].Check(); err != nil {
			return err
		}
		parts = append(parts, cut(stretches[i])...)
	}
	if len(parts) == 0 {
		return s.usable()
	}
	return s.write(ctx, s.follows(ctx, &request{do: func(tx *sql.Tx) error {
		var last int64
		if err := tx.QueryRow("SELECT coalesce(max(id), 0) FROM history").Scan(&last); err != nil {
			return err
		}
		for i := range parts {
			parts[i].Serial = uint64(last) + uint64(i) + 1
			body, err := parts[i].Append(nil)
			if err != nil {
				return err
			}
			if err := insertStretch(tx, &parts[i], body); err != nil {
				return err
			}
		}
		return nil
	}}))
}

// cut cuts a stretch at the ends of windows.
func cut(s record.Stretch) []record.Stretch {
	var parts []record.Stretch
	for from := 0; from < len(s.Points); {
		w, to := window(s.Tier, s.Points[from].At), from
		for to < len(s.Points) && window(s.Tier, s.Points[to].At) == w {
			to++
		}
		part := s
		part.Points = s.Points[from:to]
		parts = append(parts, part)
		from = to
	}
	return parts
}

func insertStretch(tx *sql.Tx, s *record.Stretch, body []byte) error {
	_, err := tx.Exec("INSERT OR IGNORE INTO series(place, name) VALUES(?,?)", s.Place, s.Series)
	if err != nil {
		return err
	}
	_, err = tx.Exec("INSERT OR IGNORE INTO history(id, series, tier, window, body) SELECT ?, id, ?, ?, ? FROM series WHERE place = ? AND name = ?",
		int64(s.Serial), int64(s.Tier), window(s.Tier, s.Points[0].At), body, s.Place, s.Series)
	return err
}

// History implements journal.History.
func (s *Store) History(ctx context.Context, place, series string, tier record.Tier, from, to sample.Instant, dst []record.Point) ([]record.Point, error) {
	if tier.Step() == 0 {
		return dst, fmt.Errorf("history of %s %s: %v %w", place, series, tier, journal.ErrNotFound)
	}
	if to <= from {
		return dst, nil
	}
	bodies, err := collect(ctx, s, `SELECT h.body FROM history h JOIN series s ON h.series = s.id
		WHERE s.place = ? AND s.name = ? AND h.tier = ? AND h.window BETWEEN ? AND ? ORDER BY h.window, h.id`,
		[]any{place, series, int64(tier), window(tier, from), window(tier, to-1)}, scanBody)
	if err != nil {
		return dst, err
	}
	points, before := dst, len(dst)
	var lost error
	sorted := true
	for i, body := range bodies {
		n := len(points)
		if points, err = record.AppendPoints(points, body); err != nil {
			lost = &journal.Loss{File: mainName, Source: "history of " + place + " " + series, Err: err}
			continue
		}
		points = points[:n+len(within(points[n:], from, to))]
		if i == 0 {
			points = slices.Grow(points, (len(bodies)-1)*(len(points)-before))
		}
		sorted = sorted && (n == before || n == len(points) || points[n-1].At < points[n].At)
	}
	if !sorted {
		points = points[:before+len(newestOfEach(points[before:]))]
	}
	return points, lost
}

// within moves those of points, which ascend, that are in [from, to) to the front
// and returns them.
func within(points []record.Point, from, to sample.Instant) []record.Point {
	first, _ := slices.BinarySearchFunc(points, from, record.Point.Compare)
	end, _ := slices.BinarySearchFunc(points, to, record.Point.Compare)
	if first == 0 {
		return points[:end]
	}
	return points[:copy(points, points[first:max(first, end)])]
}

// newestOfEach sorts points by time; of those for one instant the last stays.
func newestOfEach(points []record.Point) []record.Point {
	slices.SortStableFunc(points, func(a, b record.Point) int { return a.Compare(b.At) })
	kept := points[:0]
	for i, p := range points {
		if i+1 == len(points) || points[i+1].At != p.At {
			kept = append(kept, p)
		}
	}
	return kept
}
