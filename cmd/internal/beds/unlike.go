package beds

import "math/rand/v2"

// An Unlike is a way in which a person or a mat can differ from those that were
// recorded.
type Unlike struct {
	Name  string
	Steps []Alteration
}

// Alter applies the steps.
func (u *Unlike) Alter(r *rand.Rand, m Map) Map {
	for _, step := range u.Steps {
		m = step(r, m)
	}
	return m
}

// Table returns the ways that recognition is held against, as they were
// recorded first.
func Table() []Unlike {
	pose := func(p Pose) []Alteration { return []Alteration{Move(p)} }
	one := func(a Alteration) []Alteration { return []Alteration{a} }
	return []Unlike{
		{"as recorded", nil},
		{"mirrored", one(Mirror)},
		{"head at the other end", one(Turned)},
		{"head at the side", one(Crosswise)},
		{"three times the load", one(Load(3))},
		{"thinner by 0.3 of the typical pressure", one(Thin(0.3))},
		{"thinner by 0.6 of it", one(Thin(0.6))},
		{"bedding of 0.1 of it", one(Bedding(0.1))},
		{"bedding of 0.2 of it", one(Bedding(0.2))},
		{"150 mm to one side", pose(Pose{Right: 6})},
		{"150 mm to the other", pose(Pose{Right: -6})},
		{"170 mm further down", pose(Pose{Down: 6})},
		{"taller by 15 %", pose(Pose{Longer: 0.15})},
		{"shorter by 15 %", pose(Pose{Longer: -0.15})},
		{"broader by 15 %", pose(Pose{Wider: 0.15})},
		{"narrower by 15 %", pose(Pose{Wider: -0.15})},
		{"aslant by 6 degrees", pose(Pose{Turn: 0.1})},
		{"aslant the other way", pose(Pose{Turn: -0.1})},
		{"5 % of the cells dead, known", one(Dead(0.05, true))},
		{"5 % dead, not known", one(Dead(0.05, false))},
		{"gains of cells differ by 30 %", one(Gains(0.3))},
		{"pressure to the power 0.7", one(Bent(0.7))},
		{"pressure to the power 1.4", one(Bent(1.4))},
		{"softened by 60 mm", one(Blur(60))},
		{"32 x 16 cells", one(Coarser(2))},
		{"16 x 8 cells", one(Coarser(4))},
		{"much of it at once", []Alteration{
			Move(Pose{Right: 3, Down: -3, Longer: -0.1, Wider: 0.1, Turn: 0.06}), Thin(0.3), Dead(0.05, true), Gains(0.2),
		}},
	}
}
