package posture

import "math"

// How many templates there are: pictures of ways to lie supine, and of ways to
// lie on the left side. Each stands for its mirror image too, which for the left
// side is the right.
const (
	Supines   = 2
	Lefts     = 4
	Templates = Supines + Lefts
)

// A Model is the coefficients: a weight for each bin of the picture and each
// template, and how common each is taken to be.
type Model struct {
	Weights [Templates][layers * tall * wide]float64
	Bias    [Templates]float64
}

// thousandths is how a Model is written down.
type thousandths struct {
	bias    [Templates]int16
	weights [Templates][layers * tall * wide]int16
}

func (t *thousandths) model() *Model {
	m := new(Model)
	for i, b := range t.bias {
		m.Bias[i] = float64(b) / 1000
		for k, w := range t.weights[i] {
			m.Weights[i][k] = float64(w) / 1000
		}
	}
	return m
}

// Shape returns how many rows and columns a picture has; its two layers follow
// one another.
func Shape() (rows, columns int) { return layers * tall, wide }

// Means returns the position that a kind of Kinds stands for.
func Means(kind int) Position {
	switch {
	case kind%Templates < Supines:
		return Supine
	case kind < Templates:
		return Left
	}
	return Right
}

// Kinds returns the belief in each template, then in the mirror image of each:
// the exponentials of what they make of the picture, so that they sum to 1.
func (m *Model) Kinds(pic []float64) (p [2 * Templates]float64) {
	top := math.Inf(-1)
	for t := 0; t < Templates; t += 2 { // two at a time, as a sum waits for its last addition
		direct, mirrored := m.Bias[t], m.Bias[t]
		next, nextMirrored := m.Bias[t+1], m.Bias[t+1]
		for at := 0; at < layers*tall*wide; at += wide {
			line := (*[wide]float64)(pic[at:])
			w, u := (*[wide]float64)(m.Weights[t][at:]), (*[wide]float64)(m.Weights[t+1][at:])
			for c, v := range line {
				direct += v * w[c]
				mirrored += v * w[wide-1-c]
				next += v * u[c]
				nextMirrored += v * u[wide-1-c]
			}
		}
		p[t], p[t+Templates], p[t+1], p[t+1+Templates] = direct, mirrored, next, nextMirrored
		top = max(top, direct, mirrored, next, nextMirrored)
	}
	sum := 0.0
	for i := range p {
		p[i] = math.Exp(p[i] - top)
		sum += p[i]
	}
	for i := range p {
		p[i] /= sum
	}
	return p
}

func (m *Model) judge(pic *picture) Answer {
	var a Answer
	for k, v := range m.Kinds(pic[:]) {
		switch Means(k) {
		case Supine:
			a.Supine += v
		case Left:
			a.Left += v
		default:
			a.Right += v
		}
	}
	if best, share := a.most(); share >= Sure {
		a.Position = best
	}
	return a
}
