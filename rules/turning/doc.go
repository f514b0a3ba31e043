// Package turning follows a person in bed: how they lie, and when they turned.
// It is pure; package posture recognises a single map, and whether there is
// somebody it is told.
//
// # Turned
//
// How somebody lies is held as a pattern: the picture that package posture makes
// of the map, and where on the bed its middle is. Every 2 s the present
// picture is compared with it:
//
//   - The pattern that it was: the pictures differ by at most 0.06, of 1, and the
//     middle by less than 100 mm. Nothing has happened. Pictures do not depend on
//     how heavy anything is, so creep does not make a turn.
//   - Another one: it is a candidate, and must itself stay what it was at first
//     for Settle, or a new candidate begins. A fidget that goes back to the
//     pattern, or that has not come to rest, is none.
//
// A candidate that has lasted is a turn if the position that was is believed by
// less than half of it (the mean over that time), be it sure or not which it is
// now; or the other way round; if the middle has moved by 200 mm, or if
// the pictures differ by more than 0.30. Otherwise somebody has stirred: the
// pattern is followed, and the time since the last turn goes on. On the
// recordings, pictures within one differ by 0.002 (median; 0.033 in 99 of 100),
// of one subject in different positions by 0.256 (median; 0.075 at least).
//
// In nights put together from the recordings of nine subjects, each recognised by
// coefficients fitted to the other eight, 531 of 531 changes of position were
// found within 60 s of lying still, and none of 87,215 maps was called by a wrong
// position (cmd/internal/posturefit, -full). The fidgets and schedules are
// invented, and so is what they show of real nights.
//
// A turn counts from when the new pattern began, so that the time since then
// includes the settling.
//
// # Unknown
//
// Through a silence nothing is known, and no time passes for what has to last;
// who lies as before when it ends has not been seen to turn. A silence of
// ForgetAfter, and an empty bed, undo what was known: then the time begins anew.
// What was unknown of a single map is for package posture.
package turning
