package beds

import (
	"math"
	"math/rand/v2"

	"weald/rules/posture"
)

// An Alteration makes of a map one of somebody else, or on another mat. It
// draws from r what it draws, and leaves the map that it was given alone.
type Alteration func(r *rand.Rand, m Map) Map

// each returns m with every cell replaced.
func each(m Map, f func(i int, v float64) float64) Map {
	out := make([]float64, len(m.Values))
	for i, v := range m.Values {
		out[i] = f(i, v)
	}
	m.Values = out
	return m
}

// Mirror makes a left of a right.
func Mirror(_ *rand.Rand, m Map) Map {
	w := m.Mat.Columns
	m.Lies = m.Lies.Mirrored()
	from := m.Values
	return each(m, func(i int, _ float64) float64 { return from[i/w*w+w-1-i%w] })
}

// Turned has the head at the other end, and the mat told so.
func Turned(_ *rand.Rand, m Map) Map {
	n := len(m.Values)
	from := m.Values
	m.Mat.Head = posture.LastRow
	return each(m, func(i int, _ float64) float64 { return from[n-1-i] })
}

// Crosswise has rows and columns exchanged by a quarter turn, and the mat told
// so.
func Crosswise(_ *rand.Rand, m Map) Map {
	rows, columns := m.Mat.Rows, m.Mat.Columns
	from := m.Values
	m.Mat.Rows, m.Mat.Columns = columns, rows
	m.Mat.PitchMM[0], m.Mat.PitchMM[1] = m.Mat.PitchMM[1], m.Mat.PitchMM[0]
	m.Mat.Head = posture.LastColumn
	return each(m, func(i int, _ float64) float64 { return from[(rows-1-i%rows)*columns+i/rows] })
}

// Load multiplies every pressure.
func Load(by float64) Alteration {
	return func(_ *rand.Rand, m Map) Map {
		return each(m, func(_ int, v float64) float64 { return v * by })
	}
}

// Thin takes a share of the typical pressure away everywhere: somebody who
// weighs less, whose soft parts and limbs hardly touch.
func Thin(share float64) Alteration {
	return func(_ *rand.Rand, m Map) Map {
		less := share * loaded(m.Values)
		return each(m, func(_ int, v float64) float64 { return max(0, v-less) })
	}
}

// Bedding adds a share of the typical pressure everywhere, unevenly.
func Bedding(share float64) Alteration {
	return func(r *rand.Rand, m Map) Map {
		more := share * loaded(m.Values)
		return each(m, func(_ int, v float64) float64 { return v + more*(0.5+r.Float64()) })
	}
}

// Dead kills a share of the cells: they read 0, or nothing where it is known.
func Dead(share float64, known bool) Alteration {
	reads := 0.0
	if known {
		reads = math.NaN()
	}
	return func(r *rand.Rand, m Map) Map {
		return each(m, func(_ int, v float64) float64 {
			if r.Float64() < share {
				return reads
			}
			return v
		})
	}
}

// Gains gives every cell a gain of its own, with this standard deviation of its
// logarithm.
func Gains(sd float64) Alteration {
	return func(r *rand.Rand, m Map) Map {
		return each(m, func(_ int, v float64) float64 { return v * math.Exp(sd*r.NormFloat64()) })
	}
}

// Bent raises pressures to a power, as a sensor does that was calibrated with
// the wrong curve.
func Bent(power float64) Alteration {
	return func(_ *rand.Rand, m Map) Map {
		typical := loaded(m.Values)
		if typical == 0 {
			return m
		}
		return each(m, func(_ int, v float64) float64 { return typical * math.Pow(max(0, v)/typical, power) })
	}
}

// Coarser makes one cell of by x by.
func Coarser(by int) Alteration {
	return func(_ *rand.Rand, m Map) Map {
		rows, columns := m.Mat.Rows/by, m.Mat.Columns/by
		out := make([]float64, rows*columns)
		for i := range out {
			sum := 0.0
			for k := range by * by {
				sum += m.Values[(i/columns*by+k/by)*m.Mat.Columns+i%columns*by+k%by]
			}
			out[i] = sum / float64(by*by)
		}
		m.Values = out
		m.Mat.Rows, m.Mat.Columns = rows, columns
		m.Mat.PitchMM[0] *= float64(by)
		m.Mat.PitchMM[1] *= float64(by)
		return m
	}
}

// loaded is the mean of the cells above the mean of those above 0.
func loaded(values []float64) float64 {
	above := func(low float64) float64 {
		sum, n := 0.0, 0.0
		for _, v := range values {
			if v > low {
				sum, n = sum+v, n+1
			}
		}
		return sum / max(n, 1)
	}
	return above(above(0))
}

// Band lets the person not touch the mat somewhere along it: under a pillow, or
// where a leg is held up.
func Band(r *rand.Rand, m Map) Map {
	from := r.IntN(m.Mat.Rows)
	to := from + 1 + r.IntN(m.Mat.Rows/6+1)
	left := 0.6 * r.Float64()
	return each(m, func(i int, v float64) float64 {
		if row := i / m.Mat.Columns; from <= row && row < to {
			return v * left
		}
		return v
	})
}
