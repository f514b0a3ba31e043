package posture

import "weald/ingest/sample"

// Sure is the share of belief that an answer needs: below it the position is
// NotSure.
const Sure = 0.9

// A Recogniser says how a person lies on one mat. It belongs to one goroutine,
// and allocates nothing once made.
type Recogniser struct {
	d     *drawer
	model *Model
	pic   picture
}

var embedded = coefficients.model()

// New returns a Recogniser for a mat, with the coefficients of this package.
func New(m Mat) *Recogniser { return NewWith(m, embedded) }

// NewWith is New with other coefficients.
func NewWith(m Mat, model *Model) *Recogniser {
	return &Recogniser{d: newDrawer(&m), model: model}
}

// Recognise says how a person lies whose map is given: pressures or anything in
// proportion to them, row by row, NaN where unknown. It does not say whether
// there is one.
func (r *Recogniser) Recognise(values []float64) Answer {
	if !r.Draw(values) {
		return Answer{Supine: sample.Unknown, Left: sample.Unknown, Right: sample.Unknown}
	}
	return r.Judge()
}

// Draw is the first half of Recognise: it makes the picture; false where there
// is nothing to be seen.
func (r *Recogniser) Draw(values []float64) bool { return r.d.draw(values, &r.pic) }

// Judge is the second half: it says how a person lies by the picture that was
// made last.
func (r *Recogniser) Judge() Answer { return r.model.judge(&r.pic) }

// Picture returns the picture that a map is judged by, as rows from head to
// feet, for those who fit coefficients and for those who want to see it. It is
// the recogniser's until its next call.
func (r *Recogniser) Picture(values []float64) (pic []float64, ok bool) {
	ok = r.Draw(values)
	return r.pic[:], ok
}

// Last returns the picture that was made last, and how far from the edge at the
// head and from the left edge of the bed, seen from above, its middle is in mm.
func (r *Recogniser) Last() (pic []float64, along, across float64) {
	m := r.d.middle
	return r.pic[:], (m[0] + 0.5) * r.d.along, (m[1] + 0.5) * r.d.upright.across
}

// Distance says how different two pictures are: 0 for the same pattern, however
// heavy and wherever on the bed, to 1 for nothing in common.
func Distance(a, b []float64) float64 {
	b = b[:len(a)]
	dot, other := 0.0, 0.0 // two sums, as each waits for its last addition
	i := 0
	for ; i < len(a)-1; i += 2 {
		dot += a[i] * b[i]
		other += a[i+1] * b[i+1]
	}
	for ; i < len(a); i++ {
		dot += a[i] * b[i]
	}
	return max(0, 1-(dot+other)/layers)
}
