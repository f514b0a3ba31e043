package compression

import "math"

// A Class is a band of pressure that a standard has a name for.
type Class struct {
	ID, Name  string
	Low, High float64 // mmHg; 0 and +Inf where it is open

	// Below says that High is the first pressure that does not belong to it.
	Below bool

	// What the standard asks above the ankle, to the knee, as shares of the pressure
	// there; 0 asks nothing.
	Least, Most float64
}

// Holds reports whether a pressure belongs to the class.
func (c *Class) Holds(mmHg float64) bool {
	return mmHg >= c.Low && (mmHg < c.High || mmHg == c.High && !c.Below)
}

// A Scheme is the classes of one standard, the lightest first.
type Scheme struct {
	ID, Name string
	Where    string // is measured
	Source   string // of the bands, and how far it was read
	Above    string // source of what is asked above the ankle, "" where nothing is
	Classes  []Class
}

// Of finds the class of a pressure: nil for one between two classes, which some
// standards leave open, and for one that is not known.
func (s *Scheme) Of(mmHg float64) *Class {
	for i := range s.Classes {
		if s.Classes[i].Holds(mmHg) {
			return &s.Classes[i]
		}
	}
	return nil
}

// Class finds a class by its id; nil if there is none.
func (s *Scheme) Class(id string) *Class {
	for i := range s.Classes {
		if s.Classes[i].ID == id {
			return &s.Classes[i]
		}
	}
	return nil
}

// Named finds a scheme by its id; nil if there is none.
func Named(id string) *Scheme {
	for i := range schemes {
		if schemes[i].ID == id {
			return &schemes[i]
		}
	}
	return nil
}

// Schemes lists what is known; the caller must not write to it.
func Schemes() []Scheme { return schemes }

var open = math.Inf(1)

var schemes = []Scheme{
	{
		ID: "consensus", Name: "Consensus on bandages, Partsch 2008",
		Where:  "whole bandage, inside of the lower leg at B1, lying",
		Source: "Partsch et al., Dermatol Surg 2008;34:600-609; the bands from memory, and papers differ about which class 20, 40 and 60 belong to: here the higher one",
		Classes: []Class{
			{ID: "mild", Name: "mild", High: 20, Below: true},
			{ID: "moderate", Name: "moderate", Low: 20, High: 40, Below: true},
			{ID: "strong", Name: "strong", Low: 40, High: 60, Below: true},
			{ID: "very-strong", Name: "very strong", Low: 60, High: open},
		},
	},
	{
		ID: "bs7505", Name: "BS 7505:1995, type 3 bandages",
		Where:  "ankle of average size",
		Source: "BS 7505:1995 as a test laboratory quotes it: up to 20, about 30, about 40, above 50; “about” is taken for within 5 mmHg, which is our choice",
		Classes: []Class{
			{ID: "3a", Name: "3a light", High: 20},
			{ID: "3b", Name: "3b moderate", Low: 25, High: 35},
			{ID: "3c", Name: "3c high", Low: 35, High: 45},
			{ID: "3d", Name: "3d extra high", Low: 50, High: open},
		},
	},
	{
		ID: "ral", Name: "RAL-GZ 387/1, hosiery",
		Where:  "ankle, at B",
		Source: "RAL-GZ 387/1, table of classes, as several pages quote it",
		Above:  "RAL-GZ 387/1:2008, residual pressure at C and D (from memory)",
		Classes: []Class{
			{ID: "I", Name: "I", Low: 18, High: 21, Least: 0.5, Most: 0.8},
			{ID: "II", Name: "II", Low: 23, High: 32, Least: 0.5, Most: 0.8},
			{ID: "III", Name: "III", Low: 34, High: 46, Least: 0.5, Most: 0.7},
			{ID: "IV", Name: "IV", Low: 49, High: open, Least: 0.5, Most: 0.7},
		},
	},
	{
		ID: "bs6612", Name: "BS 6612:1985, hosiery",
		Where:  "ankle",
		Source: "BS 6612:1985 and Drug Tariff specification 40, as a page on classes of hosiery quotes them",
		Above:  "BS 6612:1985, table 1 (from memory)",
		Classes: []Class{
			{ID: "1", Name: "1", Low: 14, High: 17, Most: 0.8},
			{ID: "2", Name: "2", Low: 18, High: 24, Most: 0.7},
			{ID: "3", Name: "3", Low: 25, High: 35, Most: 0.7},
		},
	},
	{
		ID: "env12718", Name: "ENV 12718:2001, hosiery",
		Where:  "ankle, at B",
		Source: "ENV 12718:2001 (from memory); withdrawn, CEN/TR 15831:2009 stands in its place",
		Classes: []Class{
			{ID: "A", Name: "A", Low: 10, High: 14},
			{ID: "I", Name: "I", Low: 15, High: 21},
			{ID: "II", Name: "II", Low: 23, High: 32},
			{ID: "III", Name: "III", Low: 34, High: 46},
			{ID: "IV", Name: "IV", Low: 49, High: open},
		},
	},
	{
		ID: "afnor", Name: "NF G30-102, hosiery",
		Where:  "ankle",
		Source: "AFNOR NF G30-102 (from memory)",
		Classes: []Class{
			{ID: "I", Name: "I", Low: 10, High: 15},
			{ID: "II", Name: "II", Low: 15, High: 20},
			{ID: "III", Name: "III", Low: 20, High: 36},
			{ID: "IV", Name: "IV", Low: 36, High: open},
		},
	},
}
