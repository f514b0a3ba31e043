// Package matstat measures a grid of pressure cells, or a named part of one:
// peak, peak pressure index, mean, contact area, load, share, centre of
// pressure, coefficient of variation and steepest gradient.
//
// # What is measured, and how
//
//	peak      the highest cell
//	index     peak pressure index: the highest mean of a patch of 9 to 10 cm²,
//	          about the contact of one ischial tuberosity (from memory; as an
//	          outcome measure in PMC3649706)
//	mean      of the cells in contact (common practice, no source)
//	area      of the cells in contact; the threshold is part of the result
//	          (ISO/TR 16840-9:2015 clause 2.4 names the term)
//	load      pressure times area of all cells, a force
//	centre    Σ p·r / Σ p, from the outer corner of the first cell
//	variation 100 × SD / mean of the cells in contact, with the population SD
//	gradient  greatest difference of two cells that share an edge, by distance
//
// The dispersion index is the share of the load that a box round the ischial
// tuberosities and the sacrum bears: it is the share of the area that is drawn so.
//
// With a few single sensors these are indices of the set of sensors, and not
// comparable with those of a mat.
//
// # What it costs
//
// All areas of a mat are measured together (Mat): Tally adds up each cell once,
// whatever the number of areas, and Detail looks at differences and at patches
// only where they can be above the greatest so far. Nothing is carried from one
// map to the next, so that a map has the same figures, to the last bit, whenever
// it is measured.
//
// # Missing cells
//
// A cell without a value (NaN) is left out of everything, and counted. Where it
// lies in a patch, the patch is the mean of the others as long as they are half
// of it. What no cell can tell is NaN; whether enough cells are known for the
// result to be believed is for the caller to decide.
//
// # Choices where no source is known
//
// Neighbours are the four that share an edge. A patch is a rectangle of cells
// as near to 9.5 cm² as the pitch allows, the squarest of those that are
// equally near; with coarse cells that is more or less than 9 to 10 cm², and
// Patch.CM2 says how much. A part that is smaller than the patch, or too narrow
// for it, has its own mean as index. What reads below zero presses nowhere, so the
// centre of pressure leaves it out.
package matstat
