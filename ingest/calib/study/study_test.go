package study

import "testing"

// Each of the three reduces the error, alone and beside the others; the table is
// that of weald calibrate study.
func TestSimulated(t *testing.T) {
	results, err := Simulated(Usual, 40)
	if err != nil {
		t.Fatal(err)
	}
	rms := map[string]float64{}
	for _, r := range results {
		rms[r.Way] = r.Error
		t.Logf("%-42s %5.2f mmHg, %4.0f %% of the first; %.1f %% covered", r.Way, r.Error, r.Share, *r.Covered)
	}
	for _, pair := range [][2]string{
		{"branches", "one curve, one sensor"}, {"creep correction", "one curve, one sensor"}, {"four sensors", "one curve, one sensor"},
		{"branches, creep correction", "branches"}, {"branches, creep correction", "creep correction"},
		{"branches, creep correction, four sensors", "branches, creep correction"},
	} {
		if !(rms[pair[0]] < rms[pair[1]]) {
			t.Errorf("%s: %.2f mmHg, no less than %s: %.2f", pair[0], rms[pair[0]], pair[1], rms[pair[1]])
		}
	}
	if covered := *results[3].Covered; covered < 93 || covered > 97 {
		t.Errorf("with branches and creep %v %% are covered, want 93 to 97", covered)
	}
}
