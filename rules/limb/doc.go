// Package limb reads from the pressures under a wrap what the limb does, and
// what the wrap does to it: resting level, stiffness on standing, walking
// amplitude, how fast it settles, and graduation.
//
// # Activity
//
// A limb is still while no site moves by more than a few mmHg within three
// seconds. It walks while a site goes up and down as strides do, at least three
// times in a row and evenly. Whatever else moves it is called bending. At a
// slow scan rate strides cannot be told from other movement: the limb then is
// known not to be still, and walking and bending are unknown.
//
// It stands when the resting level of the lowest site has stepped up from one
// rest to the next, and no longer stands when it has stepped down; before the
// first step nobody knows. Sitting up raises the pressure at the ankle too, so
// "standing" means upright.
//
// What a person says of the posture wins over what is recognised (Mark). It is said
// of one rest: the present one, or the next if it is said while the limb moves, as far
// as that comes within two minutes. Once the limb has moved after it, what is
// recognised counts again, from the level of that rest. So a wrap that is too elastic
// for a step to be recognised has a stiffness where somebody says "lying" and
// "standing", and one who only moved a foot has not stood up.
//
// The bounds are our own choice, as no source was found for any: they stand as
// constants beside their use.
//
// # What is measured
//
//	resting    median of up to ten still seconds; unknown while the limb moves
//	stiffness  static stiffness index: resting level standing - lying (Partsch,
//	           Dermatol Surg 2005;31:625-630; definition also in Biomechanics
//	           2022;2(1):87-94), while the limb stands
//	swing      walking pressure amplitude: median of the highest less median of
//	           the lowest pressures of the last strides. Refused below ten scans
//	           a stride: at 0.92 strides and 2 scans a second as little as 12 %
//	           of it may be seen
//	stride     strides of this leg a second: one for two steps
//	settling   robust slope of the resting level over the last half hour
package limb
