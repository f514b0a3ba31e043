// Package protocol leads somebody with a cuff through the pressures of a
// calibration: up and down in steps, over several cycles, with many channels under
// one cuff. It finds by itself when each pressure has settled, so that both hands
// stay free, and refuses what is no plateau.
//
// A channel has settled once it has stayed for the dwell and the last half of that
// moved by no more than a share of full scale, what its noise explains, and what
// creep explains: thin sensors go on growing under a load that stays, by some
// percent a decade of time, so that waiting for none of it would wait for ever.
// Each level is read at the same age, so that what creep there is weighs on all
// alike. A hand that pumps moves in strokes; each stroke begins the dwell anew. A
// level has settled once most channels have; one that does not settle in patience
// is left out at that level.
//
// The package is pure: scans and instants are passed in, and the same ones lead
// the same way. It works on counts, NaN where there is none.
package protocol
