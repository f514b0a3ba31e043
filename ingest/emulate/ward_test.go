package emulate

import (
	"slices"
	"testing"
	"time"
)

// watch runs a stream until end and calls f with each scan in mmHg.
func watch(t *testing.T, s Stream, perMMHg float64, end time.Duration, f func(source uint16, at time.Duration, mmHg []float64)) {
	t.Helper()
	var scan Scan
	for {
		if err := s.Next(&scan); err != nil {
			t.Fatal(err)
		}
		if scan.At > end {
			return
		}
		for i := range scan.Values {
			scan.Values[i] /= perMMHg
		}
		f(scan.Source, scan.At, scan.Values)
	}
}

func TestTheSameSeedIsTheSameWard(t *testing.T) {
	for i, a := range larch(5) {
		b := larch(5)[i]
		other := larch(6)[i]
		var x, y, z Scan
		same := true
		for range 40 {
			if a.player.Stream.Next(&x) != nil || b.player.Stream.Next(&y) != nil || other.player.Stream.Next(&z) != nil {
				t.Fatal("a stream ended")
			}
			if x.At != y.At || !slices.Equal(x.Values, y.Values) {
				t.Fatalf("%s: two wards of one seed differ at %v", a.id, x.At)
			}
			same = same && slices.Equal(x.Values, z.Values)
		}
		if same {
			t.Errorf("%s: another seed gives the same", a.id)
		}
	}
}

// pelvis is the band of rows of a bed that carries the sacrum.
func pelvis(mmHg []float64) []float64 { return mmHg[25*MatColumns : 37*MatColumns] }

// hot returns how long the most loaded cell of bed n was above limit within the
// pelvis, without a break, up to end.
func hot(t *testing.T, n uint16, limit float64, end time.Duration) time.Duration {
	t.Helper()
	since := make([]time.Duration, 12*MatColumns)
	longest := time.Duration(0)
	for i := range since {
		since[i] = -1
	}
	for _, b := range larch(0) {
		if b.id != "hub-1" && b.id != "hub-2" {
			continue
		}
		watch(t, b.player.Stream, matSensor.PerMMHg, end, func(source uint16, at time.Duration, mmHg []float64) {
			if source != n {
				return
			}
			for i, p := range pelvis(mmHg) {
				switch {
				case p <= limit:
					since[i] = -1
				case since[i] < 0:
					since[i] = at
				default:
					longest = max(longest, at-since[i])
				}
			}
		})
	}
	return longest
}

func TestBed4IsLoadedUntilItIsTurned(t *testing.T) {
	if held := hot(t, 4, 60, 100*time.Second); held < 90*time.Second {
		t.Errorf("a cell of bed 4 is above 60 mmHg for %v of the first 100 s, want 90 s at least", held)
	}
	// On the side, eased by pillows, nothing is.
	for _, b := range larch(0) {
		if b.id == "hub-2" {
			watch(t, b.player.Stream, matSensor.PerMMHg, 4*time.Minute, func(source uint16, at time.Duration, mmHg []float64) {
				if source == 4 && at > 120*time.Second {
					if peak := slices.Max(pelvis(mmHg)); peak > 56 {
						t.Fatalf("bed 4 at %v has %v mmHg at the pelvis, want it eased below 56", at, peak)
					}
				}
			})
		}
	}
	for _, quiet := range []uint16{1, 2, 3, 5, 6} {
		if held := hot(t, quiet, 60, 100*time.Second); held > 20*time.Second {
			t.Errorf("bed %d is above 60 mmHg for %v, want the alert on bed 4 alone", quiet, held)
		}
	}
}

func TestBench1IsTightFrom10sTo40s(t *testing.T) {
	for _, b := range larch(0) {
		if b.id != "trolley" {
			continue
		}
		watch(t, b.player.Stream, wrapSensor.PerMMHg, 170*time.Second, func(source uint16, at time.Duration, mmHg []float64) {
			ankle := (mmHg[0] + mmHg[1]) / 2
			tight := source == 0 && at >= 12*time.Second && at < 40*time.Second
			if tight && ankle < 63 || !tight && ankle > 57 && (at < 10*time.Second || at > 42*time.Second) {
				t.Fatalf("source %d at %v has %.1f mmHg at the ankle", source, at, ankle)
			}
		})
	}
}

func TestSeatsAreRelievedOrNot(t *testing.T) {
	for _, b := range larch(0) {
		if b.id != "chairs" {
			continue
		}
		lowest := map[uint16]float64{1: 1e9, 2: 1e9}
		watch(t, b.player.Stream, seatSensor.PerMMHg, 150*time.Second, func(source uint16, at time.Duration, mmHg []float64) {
			lowest[source] = min(lowest[source], slices.Max(mmHg))
		})
		if lowest[1] > 20 || lowest[2] < 70 {
			t.Errorf("least peaks in 150 s: %v, want seat 1 relieved and seat 2 not", lowest)
		}
	}
}

func TestABedEmptiesAndFills(t *testing.T) {
	bed := NewBed(MatRows, MatColumns, 1, []Lie{{Posture: Supine, For: time.Minute}, {Posture: Empty, For: time.Minute}}, 1)
	cells := make([]float64, MatRows*MatColumns)
	for s := range 200 {
		at := time.Duration(s) * time.Second
		bed.At(at, cells)
		peak := slices.Max(cells)
		into := at % (2 * time.Minute)
		switch {
		case into > turning && into < time.Minute && peak < 40:
			t.Fatalf("at %v the peak is %v with somebody in bed", at, peak)
		case into > time.Minute+turning && peak > 0:
			t.Fatalf("at %v the peak is %v with nobody in bed", at, peak)
		}
	}
}

func TestPosturesMirror(t *testing.T) {
	left := NewBed(MatRows, MatColumns, 1, []Lie{{Posture: OnLeft, For: time.Hour}}, 1)
	right := NewBed(MatRows, MatColumns, 1, []Lie{{Posture: OnRight, For: time.Hour}}, 1)
	l, r := make([]float64, MatRows*MatColumns), make([]float64, MatRows*MatColumns)
	left.At(0, l)
	right.At(0, r)
	for i := range l {
		row, column := i/MatColumns, i%MatColumns
		if mirrored := r[row*MatColumns+MatColumns-1-column]; l[i]-mirrored > 1e-9 || mirrored-l[i] > 1e-9 {
			t.Fatalf("row %d column %d: %v on the left, %v on the right", row, column, l[i], mirrored)
		}
	}
	if slices.Equal(l, r) {
		t.Error("both sides are the same")
	}
}

func TestScenariosHaveNames(t *testing.T) {
	for _, s := range Scenarios() {
		named, err := Named(s.Name)
		if err != nil || named.Name != s.Name {
			t.Errorf("%s: %v", s.Name, err)
		}
		var scan Scan
		if err := s.New(3, 1).Next(&scan); err != nil || scan.Source != 3 || len(scan.Values) == 0 {
			t.Errorf("%s: first scan %v, %v", s.Name, scan.Source, err)
		}
	}
	if _, err := Named("bath"); err == nil {
		t.Error("a scenario that is not there was found")
	}
}

func BenchmarkMat(b *testing.B) {
	s := bed(1, 1, 1, Lie{Posture: Supine, For: time.Minute}, Lie{Posture: OnLeft, For: time.Minute})
	b.ReportAllocs()
	var scan Scan
	for b.Loop() {
		s.Next(&scan)
	}
}
