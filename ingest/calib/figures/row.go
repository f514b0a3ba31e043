package figures

import (
	"cmp"
	"math"
	"slices"
)

// A Direction is how a level was come to: Up by loading, Down by unloading, and
// empty where the table does not say.
type Direction string

// The directions.
const (
	Up   Direction = "up"
	Down Direction = "down"
)

// A Row is one reading at one known pressure.
type Row struct {
	Cycle     int       `json:"cycle"` // from 1; 0 where the table does not say
	Direction Direction `json:"direction,omitempty"`
	Reference float64   `json:"reference_mmhg"`
	Raw       float64   `json:"raw"`
}

// sameLevel is how far two references of one level may be apart, as a share of
// the span: a hand on a bulb does not hit 40 mmHg to the tenth.
const sameLevel = 0.015

// Levels returns the level of each row, numbered from 0 by rising pressure, and
// the mean reference of each level. Neighbouring references closer than 1.5 %
// of the span are one level, as long as the whole level is no wider than twice
// that.
func Levels(rows []Row) (of []int, mmHg []float64) {
	order := make([]int, len(rows))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(rows[a].Reference, rows[b].Reference) })
	of = make([]int, len(rows))
	if len(rows) == 0 {
		return of, nil
	}
	low, high := rows[order[0]].Reference, rows[order[len(order)-1]].Reference
	gap := sameLevel * (high - low)
	var counts []int
	start, last := math.Inf(-1), math.Inf(-1)
	for _, i := range order {
		p := rows[i].Reference
		if p-last > gap || p-start > 2*gap {
			mmHg, counts, start = append(mmHg, 0), append(counts, 0), p
		}
		last = p
		n := len(mmHg) - 1
		of[i] = n
		counts[n]++
		mmHg[n] += (p - mmHg[n]) / float64(counts[n])
	}
	return of, mmHg
}

// Means returns the mean reading of each level of rows whose direction is one
// of dirs (all rows where none is given), and how many there were; NaN where
// there were none.
func Means(rows []Row, of []int, levels int, dirs ...Direction) (mean []float64, n []int) {
	mean, n = make([]float64, levels), make([]int, levels)
	for i, r := range rows {
		if len(dirs) > 0 && !slices.Contains(dirs, r.Direction) {
			continue
		}
		l := of[i]
		n[l]++
		mean[l] += (r.Raw - mean[l]) / float64(n[l])
	}
	for l := range mean {
		if n[l] == 0 {
			mean[l] = math.NaN()
		}
	}
	return mean, n
}

// Directed reports whether rows have both loading and unloading readings.
func Directed(rows []Row) bool {
	has := func(d Direction) bool { return slices.ContainsFunc(rows, func(r Row) bool { return r.Direction == d }) }
	return has(Up) && has(Down)
}

// aligned returns rows as they would read at exactly their level's pressure:
// their counts moved along the mean response between the neighbouring levels.
// A deviation of the hand is no deviation of the sensor.
func aligned(rows []Row, of []int, level []float64) []Row {
	mean, _ := Means(rows, of, len(level))
	out := slices.Clone(rows)
	if len(level) < 2 {
		return out
	}
	for i, r := range out {
		low, high := max(of[i]-1, 0), min(of[i]+1, len(level)-1)
		slope := (mean[high] - mean[low]) / (level[high] - level[low])
		out[i].Raw -= slope * (r.Reference - level[of[i]])
		out[i].Reference = level[of[i]]
	}
	return out
}
