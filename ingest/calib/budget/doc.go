// Package budget combines uncertainties by JCGM 100:2008 (the GUM): standard
// uncertainties in squares (eq. 10), effective degrees of freedom by
// Welch-Satterthwaite (G.2b), expanded by Student's t.
//
// The package is pure.
package budget
