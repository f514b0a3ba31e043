package matstat

import "math"

// Detail measures what Tally, which it follows with the same values, left out.
func (m *Mat) Detail(values []float64) {
	for k := range m.sets {
		s := &m.sets[k]
		s.steep, s.squares = [2]float64{}, 0
		s.mean = s.total.touching / float64(max(1, s.total.contact))
	}
	for k := range m.strips {
		s := &m.strips[k]
		in := &m.sets[s.set]
		vs := values[s.from:s.to]
		if d := s.high - s.least; d*d > in.steep[0] {
			in.steep[0] = steepest(vs[:len(vs)-1], vs[1:], in.steep[0])
		}
		if s.contact {
			in.squares += squares(vs, in.mean, m.contact)
		}
	}
	for k := range m.links {
		l := &m.links[k]
		in := &m.sets[l.set].steep[l.way]
		a, b := &m.strips[l.a], &m.strips[l.b]
		if d := max(a.high-b.least, b.high-a.least); d*d > *in {
			*in = steepest(values[l.from:l.to], values[l.from+l.step:l.to+l.step], *in)
		}
	}
	for k := range m.areas {
		m.detail(&m.areas[k], values)
	}
}

// steepest returns the greatest square of a difference between as and bs, which
// are as many, or least where none is above it. What is unknown has no difference.
func steepest(as, bs []float64, least float64) float64 {
	bs = bs[:len(as)]
	for i, a := range as {
		d := a - bs[i]
		if d := float64(d * d); d > least {
			least = d
		}
	}
	return least
}

// squares adds up the squares of how far cells in contact are from mean.
func squares(values []float64, mean, contact float64) (sum float64) {
	for _, v := range values {
		if v > contact {
			d := v - mean
			sum += float64(d * d)
		}
	}
	return sum
}

func (m *Mat) detail(a *area, values []float64) {
	out := &a.now
	if out.Known == 0 {
		return
	}
	var spread float64
	var steep [2]float64
	for _, k := range a.sets {
		s := &m.sets[k]
		// Squares about the mean of a set become those about the mean of the area.
		d := s.mean - out.Mean
		spread += s.squares + float64(float64(s.total.contact)*float64(d*d))
		steep[0], steep[1] = max(steep[0], s.steep[0]), max(steep[1], s.steep[1])
	}
	if out.Contact > 0 {
		out.Variation = 100 * math.Sqrt(spread/float64(out.Contact)) / out.Mean
	}
	// The root of a square is what was squared, to the last bit.
	out.Gradient = max(math.Sqrt(steep[0])/(m.grid.PitchMM[1]/10), math.Sqrt(steep[1])/(m.grid.PitchMM[0]/10))
	out.Index = m.peakPressure(a, values)
}
