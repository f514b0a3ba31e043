package assembly

import (
	"fmt"
	"path/filepath"
	"slices"
	"testing"

	"weald/ingest/calib"
	"weald/ingest/recorded"
	"weald/ingest/sample"
)

// readScans returns the scans of a recording.
func readScans(t testing.TB, file string) (scans [][]float64) {
	t.Helper()
	for line := range recorded.Counts(t, file) {
		scans = append(scans, slices.Clone(line))
	}
	return scans
}

// In every recording the second scan is damaged, in two the third is too, and
// nothing else is. What is damaged comes out with nothing in it, and no scan is
// lost, moved or changed.
func TestRecordings(t *testing.T) {
	files := recorded.Files(t, "bed-postures", "S*", "*.txt")
	if testing.Short() {
		files = files[:min(len(files), 8)]
	}
	twice := map[string]bool{"S1/8.txt": true, "S4/6.txt": true}
	total, all := 0, 0
	for _, file := range files {
		name := filepath.Join(filepath.Base(filepath.Dir(file)), filepath.Base(file))
		scans := readScans(t, file)
		bad, i := 0, 0
		a, err := New(Config{Channels: 2048, Unit: calib.Counts, Lines: []calib.Line{{Slope: 0.05}}, SaturatesAt: 4095}, func(s *sample.Scan) {
			if s.Seq != uint32(i) || s.At != at(i*1000) {
				t.Fatalf("%s: scan %d at %v came out as number %d, want it at %v", name, s.Seq, s.At, i, at(i*1000))
			}
			known, raw := 0, 0
			for c, v := range s.Raw {
				if v == scans[i][c] {
					raw++
				}
				if p := s.Values[c]; p == p {
					known++
					if p != 0.05*v {
						t.Fatalf("%s: scan %d channel %d: %v mmHg for a count of %v", name, i, c, p, v)
					}
				}
			}
			wantBad := i == 1 || i == 2 && twice[name]
			switch {
			case wantBad && (known > 0 || raw > 0):
				t.Errorf("%s: scan %d is damaged and has %d readings and %d values", name, i, raw, known)
			case !wantBad && (raw < 2048 || known < 2040):
				t.Errorf("%s: scan %d is not damaged and has %d readings and %d values", name, i, raw, known)
			}
			if wantBad {
				bad++
			}
			i++
		})
		if err != nil {
			t.Fatal(err)
		}
		for n, s := range scans {
			if bad := a.Frame(scan(uint32(n), uint32(n)*1000, s...), at(n*1000)); bad != nil {
				t.Fatal(bad)
			}
		}
		a.Close()
		if st := a.Stats(); st.Damaged != uint64(bad) || st.Scans != uint64(len(scans)) || i != len(scans) {
			t.Errorf("%s: %+v, want %d scans, %d of them damaged", name, st, len(scans), bad)
		}
		total, all = total+bad, all+len(scans)
	}
	t.Logf("%d recordings, %d scans, %d damaged", len(files), all, total)
	if want := len(files) + len(twice); !testing.Short() && total != want {
		t.Errorf("%d damaged scans in all, want %d", total, want)
	}
}

// The signature is far from both kinds: this test says how far.
func TestMargins(t *testing.T) {
	files := recorded.Files(t, "bed-postures", "S*", "*.txt")
	if testing.Short() {
		files = files[:min(len(files), 8)]
	}
	honest, damaged, fewest, least, most := 0.0, 1.0, 1<<30, 1<<30, 0
	where := ""
	for _, file := range files {
		for n, raw := range readScans(t, file) {
			large, multiples := 0, 0
			for _, v := range raw {
				if v >= 256 {
					large++
					if int(v)%256 == 0 {
						multiples++
					}
				}
			}
			glanced := 0
			for i := 0; i < len(raw); i += 4 {
				if v := int(raw[i]); v > 0 && v%256 == 0 {
					glanced++
				}
			}
			share := float64(multiples) / float64(max(1, large))
			if suspect(raw) {
				damaged, fewest, least = min(damaged, share), min(fewest, large), min(least, glanced)
				continue
			}
			most = max(most, glanced)
			if large >= suspectOf && share > honest {
				honest, where = share, fmt.Sprintf("%s scan %d", file[len(file)-9:], n)
			}
		}
	}
	t.Logf("multiples of 256 among the readings >= 256: honest scans up to %.1f %% (%s), damaged ones %.1f %% and more of at least %d", 100*honest, where, 100*damaged, fewest)
	t.Logf("in every fourth channel: honest scans up to %d, damaged ones at least %d", most, least)
	if honest > 0.10 || damaged < 0.80 || least < 10*glanceAt {
		t.Error("the two kinds are no longer well apart")
	}
}
