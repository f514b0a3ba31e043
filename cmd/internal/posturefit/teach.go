package main

import (
	"math/rand/v2"

	"weald/cmd/internal/beds"
	"weald/rules/posture"
)

// teach turns every map into itself and so many others, of people and mats
// that are not in the recordings.
func teach(maps []beds.Map, others int, seed uint64) []pictured {
	r := rand.New(rand.NewPCG(seed, 2))
	var out []pictured
	var last posture.Mat
	var draw *posture.Recogniser
	for i := range maps {
		for k := range others + 1 {
			m := maps[i]
			if k > 0 {
				m = other(r, m)
			}
			if draw == nil || m.Mat != last {
				draw, last = posture.New(m.Mat), m.Mat
			}
			if pic, ok := draw.Picture(m.Values); ok {
				out = append(out, pictured{append([]float64(nil), pic...), m.Lies})
			}
		}
	}
	return out
}

// other invents somebody else, elsewhere, on a mat that is not as good.
func other(r *rand.Rand, m beds.Map) beds.Map {
	spread := func(by float64) float64 { return by * (2*r.Float64() - 1) }
	some := func(share float64) bool { return r.Float64() < share }
	m = beds.Move(beds.Pose{
		Down: spread(5), Right: spread(5), Longer: spread(0.18), Wider: spread(0.18), Turn: spread(0.12),
	})(r, m)
	if some(0.7) {
		m = beds.Sway(80*r.Float64())(r, m)
	}
	if some(0.5) {
		m = beds.Blur(120*r.Float64())(r, m)
	}
	if some(0.5) {
		m = beds.Bent(1+spread(0.4))(r, m)
	}
	if some(0.5) {
		m = beds.Thin(0.6*r.Float64())(r, m)
	}
	if some(0.3) {
		m = beds.Bedding(0.15*r.Float64())(r, m)
	}
	if some(0.4) {
		m = beds.Gains(0.4*r.Float64())(r, m)
	}
	if some(0.4) {
		m = beds.Dead(0.1*r.Float64(), some(0.5))(r, m)
	}
	if some(0.3) {
		m = beds.Band(r, m)
	}
	if m.Mat.Rows > 30 && some(0.2) {
		m = beds.Coarser(2)(r, m)
	}
	return m
}
