// Package posture recognises how a person lies on a mat: supine, on the left
// side, on the right side, or not sure. It is pure and looks at one map at a
// time; package turning follows a person over the night.
//
// # The method
//
// 1. A map is turned upright: head at the top, as seen from above. Which edge is
// at the head, and whether the map shows the mat from below, must be told: no
// method can know, because a left side seen from below is a right side.
//
// 2. Pressures are divided by the typical pressure of the map, the mean of what
// is above the mean, and compressed to 0…1. What stays is where somebody lies
// harder and where lighter, whatever they weigh and whatever a count is worth.
// What is under 8 % of the typical pressure counts as untouched. An unknown cell
// takes its neighbour's value.
//
// 3. The load is drawn into a picture of 22 by 14 bins of 100 by 60 mm around its
// middle, so that it does not matter where on the bed it is, how fine the mat
// is, and whether a few cells are dead.
//
// 4. Each bin is read twice: whether it is touched at all, and how hard. Both
// layers are needed. Who lies on a side with the knees drawn up has the knees in
// front of the trunk. Who is rolled to a side against a wedge lies hard at one
// edge and lightly on the wedge behind: by the outline alone that is the
// opposite side.
//
// 5. The picture is compared with six templates, two of lying supine and four of
// lying on the left, and with the mirror image of each: a weighted sum of bins,
// of which the exponentials, divided by their sum, are shares of belief. Left,
// right and supine have the sums of their templates' shares. So a mirrored map
// gets the mirrored answer exactly, whatever the weights are.
//
// 6. A position that has at least Sure of the belief is the answer; otherwise it
// is NotSure.
//
// The weights are fitted (by cmd/internal/posturefit, to the open data named in
// coefficients.go) to each tenth-odd recorded map and to two dozen inventions on
// each: other sizes and places, knees drawn up more or less, thinner people,
// bedding, softer mattresses, uneven and dead cells, coarser mats. No number of a
// file or a frame, nor how long a recording is, goes into them.
//
// # What was found
//
// Nine subjects, each by weights fitted to the other eight (the accuracy is of
// the likeliest position; error is of the answers that were given):
//
// TABLE//
//
// On the PoPu set (another person, mat and mattress; poses that were not fitted
// to): over the mattress OVER; under it, on 12 x 6
// cells, UNDER.
//
// # What it cannot do
//
// Lying prone was never taught: it is mostly called supine. Nor were children,
// amputations, two people in one bed, or alternating mattresses. The recordings
// are of healthy adults who were asked to lie so. A wedge was behind everybody
// who was rolled. It is a help for rules and records, and no substitute for
// looking; local policy and the responsible clinician decide.
package posture
