package matstat

import (
	"math"

	"weald/ingest/sample"
)

// A Grid is the layout of a mat: cells row by row.
type Grid struct {
	Rows, Columns int
	PitchMM       [2]float64 // from row to row, from column to column; NaN where not known
}

// A Measure is what an area measures at one instant. Figures that the known
// cells do not give are NaN.
type Measure struct {
	// By Tally.
	Cells   int     // of the area
	Known   int     // of them that have a value; the rest was left out
	Contact int     // of them that are above Above
	Above   float64 // mmHg, the threshold of contact
	Peak    float64 // mmHg
	Mean    float64 // mmHg, of the cells in contact; 0 without any
	AreaCM2 float64 // in contact
	Sum     float64 // mmHg, of all known cells
	Newtons float64 // the load
	X, Y    float64 // cm: centre of pressure, along the rows and down the columns

	// By Detail.
	Index     float64 // mmHg, peak pressure index
	Where     Patch   // the patch of which it is the mean, and its first cell; no cells where it is the mean of all
	At        int
	Variation float64 // percent, population
	Gradient  float64 // mmHg/cm
}

var nothing = func() Measure {
	nan := math.NaN()
	return Measure{Peak: nan, Mean: nan, AreaCM2: nan, Sum: nan, Newtons: nan, X: nan, Y: nan, Index: nan, Variation: nan, Gradient: nan}
}()

// NewtonsPerMMHgMM2 turns mmHg × mm² into newtons.
var NewtonsPerMMHgMM2 = sample.MMHg(1).Pascals() * 1e-6
