// Package fit makes a calibration of a table of readings at known pressures.
//
// Every model is fitted, with one curve for both directions and, where the
// table has both, with one for each. What is left out decides: each level but
// the two ends in turn is kept from the fit, which then says what the pressure
// was. (Without an end a fit would be judged where it extrapolates, and live
// values are marked there.) The candidate with the smallest root mean square of
// these errors is taken, unless a stiffer one comes within 10 % of it: so small a
// difference is chance. Models are never chosen by eye, and every candidate's
// figure is part of the record.
//
// Fits go from counts to pressure. Polynomials are fitted in centred and scaled
// counts by QR and only then expanded, because the sums of squares of raw
// counts lose the digits that matter.
//
// What the uncertainty is made of, where the semantics are silent:
//
//   - fit: the standard error of the curve, and what the left-out level means
//     deviate by beyond their own scatter;
//   - hysteresis: 0.29 of the loop's width at each level (JCGM 100, F.2.2.2);
//   - repeatability: the scatter about the level means within a cycle, and the
//     shift from cycle to cycle beyond it, enlarged by t95/1.96 at the effective
//     degrees of freedom (Welch-Satterthwaite), since a few cycles tell it badly;
//   - drift: as set, by default 2 % of full scale, rectangular, over the
//     validity (an assumption, until spot checks tell);
//   - reference: of the gauge, as set.
//
// One cycle says nothing about repeatability: then the spread of the warning
// limit is assumed, and the record says so.
//
// The package is pure.
package fit
