// Package beds reads recordings of people who lie, and makes of them people and
// mats that were not recorded: heavier, thinner, mirrored, with dead cells. It
// is for fitting coefficients and for tests; everything invented is drawn from
// a seed.
//
// The recordings are "A pressure map dataset for posture and subject
// analytics" 1.0.0 (PhysioNet, ODC-By 1.0), each row one frame of 64 rows by 32
// columns, and the PoPu set (CC0 1.0) of one person over and under a mattress.
// None of it is part of the project.
package beds
