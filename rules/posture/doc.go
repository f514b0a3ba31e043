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
// coefficients.go) to each fifteenth recorded map and to fifteen inventions on
// each: other sizes and places, knees drawn up more or less, thinner people,
// bedding, softer mattresses, uneven and dead cells, coarser mats. No number of a
// file or a frame, nor how long a recording is, goes into them.
//
// # What was found
//
// Nine subjects, each by weights fitted to the other eight (the accuracy is of
// the likeliest position, on every map after the damaged start):
//
//	                                          right %  answered %  of these wrong %
//	as recorded                                 99.98       98.32             0.00
//	mirrored                                    99.98       98.32             0.00
//	head at the other end                       99.98       98.32             0.00
//	head at the side                            99.98       98.32             0.00
//	three times the load                        99.98       98.32             0.00
//	thinner by 0.3 of the typical pressure      98.90       93.86             0.02
//	thinner by 0.6 of it                        96.69       77.62             0.01
//	bedding of 0.1 of it                        99.51       92.17             0.00
//	bedding of 0.2 of it                        97.62       78.77             0.00
//	150 mm to one side                          99.83       98.00             0.00
//	150 mm to the other                         99.56       95.93             0.00
//	170 mm further down                         98.97       98.32             0.00
//	taller by 15 %                              99.98       97.50             0.00
//	shorter by 15 %                             99.42       96.30             0.00
//	broader by 15 %                             99.60       98.15             0.00
//	narrower by 15 %                            98.69       94.88             0.00
//	aslant by 6 degrees                         99.98       97.74             0.00
//	aslant the other way                        99.52       96.05             0.00
//	5 % of the cells dead, known                99.93       98.35             0.00
//	5 % dead, not known                         99.78       98.39             0.00
//	gains of cells differ by 30 %               99.87       98.37             0.00
//	pressure to the power 0.7                   99.56       94.79             0.00
//	pressure to the power 1.4                   99.37       98.09             0.00
//	softened by 60 mm                           99.07       86.75             0.00
//	32 x 16 cells                               99.58       97.85             0.00
//	16 x 8 cells                                99.00       95.41             0.00
//	much of it at once                          97.57       89.31             0.02
//
// On the PoPu set (another person, mat and mattress; poses that were not fitted
// to): over the mattress 99.6 % right, 90 %
// answered, none of these wrong; under it, on 12 x 6 cells, 98.9 % right, 33 %
// answered, none wrong.
//
// # What it cannot do
//
// Lying prone was never taught: it is mostly called supine. Nor were children,
// amputations, two people in one bed, or alternating mattresses. The recordings
// are of healthy adults who were asked to lie so. A wedge was behind everybody
// who was rolled. It is a help for rules and records, and no substitute for
// looking; local policy and the responsible clinician decide.
package posture
