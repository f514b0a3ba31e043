package compression_test

import (
	"math"
	"testing"

	"weald/ingest/near"
	"weald/rules/compression"
)

func TestClasses(t *testing.T) {
	for scheme, edges := range map[string]map[float64]string{
		// RAL-GZ 387/1 has gaps between its classes.
		"ral": {17.9: "", 18: "I", 21: "I", 22: "", 23: "II", 32: "II", 33: "", 34: "III", 46: "III", 48: "", 49: "IV", 90: "IV"},
		// Partsch et al., Dermatol Surg 2008;34:600-609, with the lower bound closed
		// (the bands from memory).
		"consensus": {0: "mild", 19.9: "mild", 20: "moderate", 39.9: "moderate", 40: "strong", 59.9: "strong", 60: "very-strong"},
		// BS 6612:1985 and Drug Tariff specification 40.
		"bs6612": {13: "", 14: "1", 17: "1", 18: "2", 24: "2", 25: "3", 35: "3", 36: ""},
		// BS 7505:1995: up to 20, about 30, about 40, above 50.
		"bs7505": {20: "3a", 22: "", 30: "3b", 40: "3c", 47: "", 55: "3d"},
		// ENV 12718:2001, from memory.
		"env12718": {9: "", 10: "A", 14: "A", 15: "I", 21: "I", 22: "", 23: "II", 49: "IV"},
		// AFNOR NF G30-102, from memory.
		"afnor": {10: "I", 20: "II", 21: "III", 36: "III", 37: "IV"},
	} {
		s := compression.Named(scheme)
		if s == nil {
			t.Fatalf("there is no scheme %s", scheme)
		}
		for mmHg, want := range edges {
			got := ""
			if c := s.Of(mmHg); c != nil {
				got = c.ID
			}
			if got != want {
				t.Errorf("%s: %v mmHg is %q, want %q", scheme, mmHg, got, want)
			}
		}
		if c := s.Of(math.NaN()); c != nil {
			t.Errorf("%s: what is not known is %s", scheme, c.ID)
		}
	}
}

// The classes of RAL-GZ 387/1 in kPa, as the same table prints them.
func TestClassesInKPa(t *testing.T) {
	const kPa = 0.133322387415
	published := [][2]float64{{2.4, 2.8}, {3.1, 4.3}, {4.5, 6.1}, {6.5, math.Inf(1)}}
	for i, c := range compression.Named("ral").Classes {
		near.To(t, c.ID+" from", c.Low*kPa, published[i][0], 0.05)
		if !math.IsInf(c.High, 1) || i < 3 {
			near.To(t, c.ID+" to", c.High*kPa, published[i][1], 0.05)
		}
	}
}

// Bands come in order, have names of their own, and say where they are from.
func TestTablesAreSound(t *testing.T) {
	seen := map[string]bool{}
	for _, s := range compression.Schemes() {
		if s.Source == "" || s.Where == "" || s.Name == "" || seen[s.ID] {
			t.Errorf("%s: says too little, or is there twice: %+v", s.ID, s)
		}
		seen[s.ID] = true
		last := 0.0
		for _, c := range s.Classes {
			if seen[s.ID+" "+c.ID] || s.Class(c.ID).Name != c.Name || !(c.Low >= last && c.High > c.Low) || c.Least > c.Most {
				t.Errorf("%s: class %+v", s.ID, c)
			}
			if (c.Most > 0) != (s.Above != "") {
				t.Errorf("%s %s: what is asked above the ankle, and its source: %v %q", s.ID, c.ID, c.Most, s.Above)
			}
			seen[s.ID+" "+c.ID], last = true, c.High
		}
	}
	if compression.Named("none") != nil || compression.Named("ral").Class("V") != nil {
		t.Error("what does not exist is found")
	}
}
