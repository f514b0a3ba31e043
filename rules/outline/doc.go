// Package outline finds the regions of a body from one map of a mat: head,
// shoulders, pelvis and heels of somebody who lies, and the sitting bones, the
// sacrum and the thighs of somebody who sits. It is pure, and says "not found",
// with the reason, rather than guess.
//
// # What a found region is for
//
// It is a proposal. A region that moved with the body would make reliefs out of
// its own moving: the load would leave it although no skin was relieved. So
// regions are found once, when a person asks, and come as text for the
// configuration; from then on they are fixed cells like any others, and the
// holds on them begin as those of any changed configuration do. Who lies
// elsewhere on the mat tomorrow lies outside of them: draw them with room, or
// find them anew.
//
// # The method for a bed
//
// 1. The map is turned upright: which edge is at the head must be told. A cell
// counts as touched above a tenth of the typical pressure, which is the mean of
// what is above the mean. An unknown cell counts for nothing.
//
// 2. Rows are added up to the profile of the load from head to feet, drawn over
// 90 mm. The outline reaches from the first row with a fiftieth of the greatest
// row's load to the last one.
//
// 3. The pelvis is the heaviest part of the profile in the middle of the outline,
// from 40 to 66 % of it. Above it the shoulders are the heaviest part that is
// 0.20 to 0.36 of a stature away, and the head what lies beyond the emptiest row
// above the shoulders. The stature is first the outline's length, and then twice
// the way from crown to pelvis, so that knees drawn up do not shorten anybody.
// Heels are the last load of the outline, if it is far enough from the pelvis.
//
// 4. Each region is a rectangle that holds the touched cells of its rows, a cell
// more to either side; its height goes by the stature.
//
// Shares of a stature are rounded from the lengths of segments that textbooks
// of biomechanics reprint from Drillis and Contini (1966): from the crown,
// shoulder 0.18, hip 0.47, ankle 0.96 (from memory). The other numbers are our
// own choice, no source.
//
// # The method for a seat
//
// The load's middle divides left from right. In each half the sitting bone is
// the patch of about 30 by 30 mm that is loaded most, behind the middle of the contact or
// at it. The two are believed if they stand out from the mean of the contact, and
// are as far apart as sitting bones are. The sacrum is what is touched between and
// behind them, the thighs what is touched before them.
//
// # What was found
//
// Nine recorded subjects ("A pressure map dataset for posture and subject
// analytics" 1.0.0, PhysioNet, ODC-By 1.0), a map from the middle of each
// recording. The pelvis holds the hips' peak: the greatest 3 by 3 cells in the
// middle third of the mat.
//
//	                                        head  shoulders  pelvis  heels   pelvis holds
//	                                         % of the maps in which found    the peak, %
//	supine, as recorded                      100     100      100     100        100
//	supine, mirrored or turned               100     100      100     100        100
//	supine, thinner by 0.3 of typical         94      94       94      94         94
//	supine, thinner by 0.6                    83      81       83      83         83
//	supine, shorter by 15 %                  100     100      100     100         98
//	supine, 5 % of the cells dead            100     100      100     100        100
//	supine, 32 x 16 cells                     98     100      100     100         98
//	supine, 16 x 8 cells                      59     100      100     100         96
//	on a side, as recorded                    81     100      100      92        100
//	on a side, thinner by 0.6                 75      86       86      64         83
//	on a side, 16 x 8 cells                   14     100      100      92        100
//
// With the head said to be at the wrong end, 89 of 90 are "not found". On the PoPu
// set (CC0 1.0; another person and mat) 202 of 211 regions found are where its
// makers drew them by hand.
//
// # What it cannot do
//
// It knows no anatomy: it names loads by where they are. A knee drawn up under
// the pelvis, two people, an alternating mattress or a bent bed mislead it. The
// pelvis is the sacrum of who lies supine and the hip of who lies on a side; left
// and right heel are one region. The seat's method has been seen on invented
// sitters alone. Look at what it proposes on the map before you put it into
// force; local policy and the responsible clinician decide.
package outline
