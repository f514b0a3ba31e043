package running

import "math"

// A Stat is what is known of the readings so far. The zero Stat has seen none.
type Stat struct {
	n           int
	first, last float64
	mean, m2    float64 // of the differences from first

	products   float64 // sum of d[i]*d[i+1], of the differences from first
	head, tail float64 // sums of all d but the last, and of all but the first
}

// Add takes a reading. NaN is not one.
func (s *Stat) Add(v float64) {
	if v != v {
		return
	}
	if s.n == 0 {
		s.first = v
	}
	d := v - s.first
	if s.n > 0 {
		before := s.last - s.first
		s.products += before * d
		s.head += before
		s.tail += d
	}
	s.n++
	delta := d - s.mean
	s.mean += delta / float64(s.n)
	s.m2 += delta * (d - s.mean)
	s.last = v
}

// Mean returns the mean; NaN of nothing.
func (s *Stat) Mean() float64 {
	if s.n == 0 {
		return math.NaN()
	}
	return s.first + s.mean
}

// SD returns the standard deviation with n-1; NaN of fewer than two.
func (s *Stat) SD() float64 {
	if s.n < 2 {
		return math.NaN()
	}
	return math.Sqrt(s.m2 / float64(s.n-1))
}

// Lag1 returns the autocorrelation of neighbours about the common mean; NaN of
// fewer than two readings or of readings that are all the same.
func (s *Stat) Lag1() float64 {
	if s.n < 2 || s.m2 == 0 {
		return math.NaN()
	}
	return (s.products - s.mean*(s.head+s.tail) + float64(s.n-1)*s.mean*s.mean) / s.m2
}
