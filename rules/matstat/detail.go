package matstat

import "math"

// Detail measures what Tally, which it follows with the same values, left out.
func (m *Mat) Detail(values []float64) {
	for k := range m.sets {
		m.sets[k].steep = [2]float64{}
	}
	for k := range m.strips {
		s := &m.strips[k]
		in := &m.sets[s.set]
		vs := values[s.from:s.to]
		if d := s.high - s.least; d*d > in.steep[0] {
			in.steep[0] = steepest(vs[:len(vs)-1], vs[1:], in.steep[0])
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
// Four at a time are mostly not above it.
func steepest(as, bs []float64, least float64) float64 {
	bs = bs[:len(as)]
	i := 0
	for ; i < len(as)-3; i += 4 {
		p, q, r, s := as[i]-bs[i], as[i+1]-bs[i+1], as[i+2]-bs[i+2], as[i+3]-bs[i+3]
		if p*p > least || q*q > least || r*r > least || s*s > least {
			least = steeper(s, steeper(r, steeper(q, steeper(p, least))))
		}
	}
	for ; i < len(as); i++ {
		least = steeper(as[i]-bs[i], least)
	}
	return least
}

func steeper(d, least float64) float64 {
	if d := float64(d * d); d > least {
		return d
	}
	return least
}

func (m *Mat) detail(a *area, values []float64) {
	out := &a.now
	if out.Known == 0 {
		return
	}
	var steep [2]float64
	for _, k := range a.sets {
		s := &m.sets[k]
		steep[0], steep[1] = max(steep[0], s.steep[0]), max(steep[1], s.steep[1])
	}
	// The root of a square is what was squared, to the last bit.
	out.Gradient = max(math.Sqrt(steep[0])/(m.grid.PitchMM[1]/10), math.Sqrt(steep[1])/(m.grid.PitchMM[0]/10))
	if out.Contact > 0 {
		out.Variation = 100 * math.Sqrt(m.variance(a, values)) / out.Mean
	}
	out.Index = m.peakPressure(a, values)
}

// smooth is the part of the mean square that a variance must be for it to be told
// from the sum of squares: what that loses of it is then below 1e-9.
const smooth = 1e-4

// variance is that of the cells in contact. Where they are so much alike that the
// sum of squares would not tell, they are looked at once more.
func (m *Mat) variance(a *area, values []float64) float64 {
	n, mean := float64(a.total.contact), a.now.Mean
	square := a.total.squares / n
	if v := square - float64(mean*mean); v > smooth*square {
		return v
	}
	sum := 0.0
	for _, k := range a.strips {
		s := &m.strips[k]
		if !s.contact {
			continue
		}
		for _, v := range values[s.from:s.to] {
			if d := v - mean; v > m.contact {
				sum += float64(d * d)
			}
		}
	}
	return sum / n
}
