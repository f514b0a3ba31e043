package health

import (
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"weald/ingest/recorded"
	"weald/ingest/sample"
)

// night plays all bed recordings as one long one, as if nine people had lain on
// the same mat in turn, without the scans that are damaged. Alter may change a
// scan; seen is called after each.
func night(t *testing.T, m *Monitor, alter func(raw []float64), seen func(name string, at sample.Instant)) {
	t.Helper()
	at := sample.Instant(0)
	people := []int{1, 2, 3, 4, 5, 8, 9, 10, 12}
	if testing.Short() {
		people = people[:2]
	}
	for _, who := range people {
		for posture := 1; posture <= 17; posture++ {
			name := filepath.Join("S"+strconv.Itoa(who), strconv.Itoa(posture)+".txt")
			n := 0
			for raw := range recorded.Counts(t, recorded.Path(t, "bed-postures", name)) {
				if n++; n <= 3 || len(raw) != 2048 {
					continue
				}
				alter(raw)
				at = at.Add(time.Second)
				m.Scan(at, raw, 4095)
				seen(name, at)
			}
		}
	}
}

// No live cell of a mat is declared faulty in 3.7 hours of people lying still,
// none comes near it, and those at the rail are said to be there.
func TestBedsHaveNoFaults(t *testing.T) {
	m := mat(t, 64, 32)
	failed, most, trials := 0, 0, 0
	railed := map[string]int{} // most cells at the rail in a recording
	scans := 0
	night(t, m, func([]float64) {}, func(name string, at sample.Instant) {
		scans++
		railed[name] = max(railed[name], m.counts[Saturated])
		for _, s := range []State{Silent, Dead, Stuck, Open, Noisy} {
			if m.counts[s] > 0 {
				t.Fatalf("%s at %v: %d cells are %v", name, at, m.counts[s], s)
			}
		}
		if at == m.window.from && scans > 1 { // a window has just been judged
			trials++
			for i := range m.cells {
				failed += min(1, int(m.cells[i].fails))
				most = max(most, int(m.cells[i].fails))
			}
		}
	})
	t.Logf("%d scans, %d windows of %d cells: no fault, %d failed trials, at most %d in a row of %d; a swing is %.0f counts; %d cells are untried", scans, trials, len(m.cells), failed, most, failsAllowed, m.swing, m.untried)
	if trials < 80 && !testing.Short() {
		t.Fatalf("only %d windows were judged", trials)
	}
	if most > failsAllowed/2 {
		t.Errorf("a live cell failed %d trials in a row, want it far from %d", most, failsAllowed)
	}
	if len(m.held) > 0 {
		t.Errorf("%d cells are left out", len(m.held))
	}
	if testing.Short() {
		return
	}
	for _, name := range []string{"S9/3.txt", "S10/11.txt"} {
		if railed[name] != 1 {
			t.Errorf("%s: %d cells at the rail, want the one that is", name, railed[name])
		}
		delete(railed, name)
	}
	for name, n := range railed {
		if n > 1 {
			t.Errorf("%s: %d cells at the rail", name, n)
		}
	}
}

// Cells that are made dead in the same recordings are found, where the body
// lies on them, and nothing else is.
func TestBedsWithDeadCells(t *testing.T) {
	dead := map[int]bool{}
	for row := 4; row < 64; row += 6 {
		for column := 4; column < 30; column += 6 {
			dead[row*32+column] = true
		}
	}
	m := mat(t, 64, 32)
	found := map[int]sample.Instant{}
	night(t, m, func(raw []float64) {
		for i := range dead {
			raw[i] = 0
		}
	}, func(name string, at sample.Instant) {
		if m.counts[Dead]+m.counts[Stuck]+m.counts[Open]+m.counts[Silent]+m.counts[Noisy] == len(found) {
			return
		}
		for i := range m.cells {
			if s, _ := m.State(i); s != Sound && s != Saturated && found[i] == 0 {
				found[i] = at
				if s != Dead || !dead[i] {
					t.Errorf("%s at %v: cell %d is %v", name, at, i, s)
				}
			}
		}
	})
	first := sample.Never
	for _, at := range found {
		first = min(first, at)
	}
	t.Logf("%d of %d dead cells were found, the first after %v", len(found), len(dead), first.Sub(0))
	if want := 12; len(found) < want && !testing.Short() {
		t.Errorf("%d of %d dead cells were found, want %d: the others lie beside the bodies", len(found), len(dead), want)
	}
	if len(m.held) != len(found) {
		t.Errorf("%d of %d found cells are left out", len(m.held), len(found))
	}
}

// In a chamber everything feels the same: of ten cells, the two that are dead
// are found, one of them in spite of a spike to the other end of the range.
func TestChamber(t *testing.T) {
	file := recorded.Files(t, "cell-calibration", "*.csv")[0]
	together := []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}
	for _, falling := range []bool{false, true} {
		r := newRig(t, Config{Channels: 10, Together: [][]int{together}, Falling: falling}, time.Millisecond)
		r.rail = 0
		var raw []float64
		begun := sample.Instant(0)
		for range 3 { // cycles of the same calibration
			rows(t, file, func(fields []string) {
				raw = numbers(fields, raw)
				if len(raw) != 12 || raw[0] != raw[0] {
					return
				}
				r.at = begun.Add(time.Duration(raw[0] * float64(time.Second)))
				r.m.Scan(r.at, raw[2:], 0)
			})
			begun = r.at.Add(20 * time.Millisecond)
		}
		r.wants("after three cycles", map[int]State{8: Dead, 9: Dead})
		// Where a load makes readings fall, 0 would be the greatest of loads.
		want := 2
		if falling {
			want = 0
		}
		if got := r.report().LeftOut; got != want {
			t.Errorf("falling %v: %d cells are left out, want %d", falling, got, want)
		}
		for _, i := range []int{8, 9} {
			f := r.finding(i)
			t.Log(f.Sentence())
		}
	}
}

// Twelve cells in a seat and twelve in a back, of which nobody knows how they
// lie: nothing can be said against any of them.
func TestSeats(t *testing.T) {
	for _, part := range []string{"seat", "back"} {
		r := newRig(t, Config{Channels: 12}, 90*time.Millisecond)
		begun, first, n := sample.Instant(0), sample.Instant(0), 0
		for _, file := range recorded.Files(t, "seat-drives", "speed*.csv") {
			first, begun = 0, r.at.Add(time.Minute)
			rows(t, file, func(fields []string) {
				if len(fields) != 14 || fields[1] != part {
					return
				}
				raw := numbers(fields, nil)
				at := sample.Instant(raw[0] * 1e9)
				if first == 0 {
					first = at
				}
				r.at = begun.Add(at.Sub(first))
				r.m.Scan(r.at, raw[2:], 255)
				n++
			})
		}
		r.wants(part, nil)
		t.Logf("%s: %d scans, %d of 12 cells untried", part, n, r.report().Untried)
		if n < 1000 {
			t.Errorf("%s: only %d scans", part, n)
		}
	}
}

// Soles that are walked on at 100 Hz. Nothing is wrong with the sensors; the
// same recording with one that goes dead half way, and one of whom nothing
// comes, has just these two.
func TestWalking(t *testing.T) {
	left, right := []int{0, 1, 2, 3, 4, 5, 6, 7}, []int{8, 9, 10, 11, 12, 13, 14, 15}
	config := Config{Channels: 16, Together: [][]int{left, right}}
	sound, broken := newRig(t, config, 10*time.Millisecond), newRig(t, config, 10*time.Millisecond)
	n := 0
	files := recorded.Files(t, "walking", "*.txt")
	for _, file := range append(files, files...) {
		rows(t, file, func(fields []string) {
			if n++; testing.Short() && n > 36000 {
				return
			}
			raw := numbers(fields, nil)[1:17]
			sound.scan(raw)
			if n > 12000 {
				raw[3], raw[12] = 0, nan
			}
			broken.scan(raw)
		})
	}
	sound.wants("as recorded", nil)
	if testing.Short() {
		return
	}
	broken.wants("with two gone", map[int]State{3: Stuck, 12: Silent})
	for _, i := range []int{3, 12} {
		f := broken.finding(i)
		t.Log(f.Sentence())
	}
}
