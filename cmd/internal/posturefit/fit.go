package main

import (
	"math"
	"math/rand/v2"

	"weald/rules/posture"
)

// A pictured map is what is learned from: a picture, and how its person
// lies.
type pictured struct {
	pic  []float64
	lies posture.Position
}

// Settings of the fit. The last few steps are small, so that the result hardly
// depends on the order in which the pictures came.
const (
	batch   = 64
	step    = 0.1  // of the first pass
	shrink  = 1e-5 // what large weights cost, by their square
	decay   = 0.9  // of the moving mean of gradients
	decay2  = 0.999
	epsilon = 1e-8
)

// learn fits a model by gradient descent on the log likelihood, with the step of
// each weight by the recent size of its gradient (Adam).
func learn(samples []pictured, passes int, seed uint64) *posture.Model {
	rows, columns := posture.Shape()
	n := rows * columns
	size := posture.Templates * (n + 1)
	w, g := make([]float64, size), make([]float64, size)
	m1, m2 := make([]float64, size), make([]float64, size)
	model := new(posture.Model)
	r := rand.New(rand.NewPCG(seed, 1))
	for i := range w {
		w[i] = 0.3 * r.NormFloat64() // so that templates of a kind part ways
	}
	unpack(w, n, model)
	order := make([]int, len(samples))
	for i := range order {
		order[i] = i
	}
	t := 0.0
	for pass := range passes {
		r.Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
		rate := step * (1 + math.Cos(math.Pi*float64(pass)/float64(passes))) / 2
		for from := 0; from < len(order); from += batch {
			some := order[from:min(from+batch, len(order))]
			for i := range g {
				g[i] = shrink * w[i]
			}
			for _, k := range some {
				slope(model, &samples[k], g, n, columns, 1/float64(len(some)))
			}
			t++
			c1, c2 := 1-math.Pow(decay, t), 1-math.Pow(decay2, t)
			for i := range w {
				m1[i] = decay*m1[i] + (1-decay)*g[i]
				m2[i] = decay2*m2[i] + (1-decay2)*g[i]*g[i]
				w[i] -= rate * (m1[i] / c1) / (math.Sqrt(m2[i]/c2) + epsilon)
			}
			unpack(w, n, model)
		}
	}
	return model
}

// slope adds the gradient of one picture to g.
func slope(model *posture.Model, s *pictured, g []float64, n, columns int, by float64) {
	d := model.Kinds(s.pic)
	own := 0.0 // what is believed of those that are right
	for k, p := range d {
		if posture.Means(k) == s.lies {
			own += p
		}
	}
	for k, p := range d {
		if posture.Means(k) == s.lies {
			d[k] -= p / max(own, 1e-12)
		}
	}
	for t := range posture.Templates {
		direct, mirrored := d[t], d[t+posture.Templates]
		to := g[t*(n+1) : (t+1)*(n+1)]
		for r := 0; r < n; r += columns {
			for c, v := range s.pic[r : r+columns] {
				to[r+c] += by * v * direct
				to[r+columns-1-c] += by * v * mirrored
			}
		}
		to[n] += by * (direct + mirrored)
	}
}

func unpack(w []float64, n int, model *posture.Model) {
	for t := range posture.Templates {
		copy(model.Weights[t][:], w[t*(n+1):])
		model.Bias[t] = w[t*(n+1)+n]
	}
}
