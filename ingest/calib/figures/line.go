package figures

import "math"

// A line is y = a + b x.
type line struct{ a, b float64 }

func (l line) at(x float64) float64 { return l.a + l.b*x }

func lineThrough(x0, y0, x1, y1 float64) line {
	b := (y1 - y0) / (x1 - x0)
	return line{y0 - b*x0, b}
}

func leastSquares(x, y []float64) line {
	var mx, my, sxx, sxy float64
	for i := range x {
		mx += x[i] / float64(len(x))
		my += y[i] / float64(len(y))
	}
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
	}
	return line{my - sxy/sxx*mx, sxy / sxx}
}

// independent returns the line with the smallest largest deviation. It is
// parallel to an edge of the points' hull, so that it suffices to try the slope
// of every pair: levels are few.
func independent(x, y []float64) line {
	best, least := line{}, math.Inf(1)
	for i := range x {
		for j := range i {
			b := (y[i] - y[j]) / (x[i] - x[j])
			low, high := math.Inf(1), math.Inf(-1)
			for k := range x {
				low, high = min(low, y[k]-b*x[k]), max(high, y[k]-b*x[k])
			}
			if w := high - low; w < least {
				best, least = line{(low + high) / 2, b}, w
			}
		}
	}
	return best
}
