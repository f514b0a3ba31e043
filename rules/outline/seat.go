package outline

import (
	"fmt"
	"math"

	"weald/rules/posture"
)

// The regions of somebody who sits, left and right as they see them.
const (
	IschialLeft  = "ischial_left"
	IschialRight = "ischial_right"
	Sacrum       = "sacrum"
	ThighLeft    = "thigh_left"
	ThighRight   = "thigh_right"
)

// What a seat must show, in mm: our own choice, no source, but for how far
// sitting bones are apart (from memory: 100 to 140 mm between their middles).
const (
	coarsest  = 60.0  // pitch
	least     = 220.0 // of a contact, either way; shorter is nobody who sits
	patchSize = 30.0  // what is loaded by one bone
	nearest   = 70.0  // of the two bones
	farthest  = 190.0
	uneven    = 75.0 // one before the other
	standsOut = 1.3  // of the mean of the contact
	bone      = 40.0 // from a bone's middle to its region's edge
)

// Seat looks for the sitting bones, the sacrum and the thighs of somebody who
// sits on a mat whose Head is the edge at their back. Values are pressures row
// by row in any unit, NaN unknown.
func Seat(m *posture.Mat, values []float64) Answer {
	var a Answer
	s := newSheet(m, values)
	left, right, why := s.bones()
	if why != "" {
		a.miss(why, Sacrum, IschialLeft, IschialRight, ThighLeft, ThighRight)
		return a
	}
	contact, _ := s.contact()
	down, on := int(math.Round(bone/s.AlongMM)), int(math.Round(bone/s.AcrossMM))
	// The person's left is at the right of the sheet.
	around := func(p spot) box { return s.clipped(box{p.row - down, p.row + down, p.column - on, p.column + on}) }
	l, r := around(left), around(right)
	middle := (left.column + right.column) / 2
	l.left, r.right = max(l.left, middle+1), min(r.right, middle)
	add := func(id string, b box, why, none string) {
		if b = s.clipped(b); b.top > b.bottom || b.left > b.right || s.load(b) <= 0 {
			a.miss(none, id)
			return
		}
		a.Found = append(a.Found, s.region(id, b, m.Columns, why))
	}
	add(Sacrum, box{contact.top, min(l.top, r.top) - 1, right.column, left.column},
		"what is touched between and behind the sitting bones", "nothing touches behind the sitting bones")
	add(IschialLeft, l, "the heaviest patch of the left half", "nothing touches there")
	add(IschialRight, r, "the heaviest patch of the right half", "nothing touches there")
	front := max(l.bottom, r.bottom) + 1
	const noThigh = "nothing touches before the sitting bone"
	add(ThighLeft, box{front, contact.bottom, middle + 1, contact.right}, "what is touched before the left sitting bone", noThigh)
	add(ThighRight, box{front, contact.bottom, contact.left, middle}, "what is touched before the right sitting bone", noThigh)
	return a
}

// contact is the rectangle that holds what is touched, but for strays.
func (s *sheet) contact() (box, bool) {
	b, ok := s.around(box{0, s.Rows - 1, 0, s.Columns - 1})
	if !ok {
		return b, false
	}
	whole := s.load(b)
	row := func(r int) float64 { return s.load(box{r, r, b.left, b.right}) }
	for b.top < b.bottom && row(b.top) < stray/4*whole {
		b.top++
	}
	for b.top < b.bottom && row(b.bottom) < stray/4*whole {
		b.bottom--
	}
	return b, true
}

// A spot is a cell of a sheet.
type spot struct{ row, column int }

// bones returns where the sitting bones are, or why they cannot be told.
func (s *sheet) bones() (left, right spot, why string) {
	if s.Rows < 8 || s.Columns < 8 || s.AlongMM > coarsest || s.AcrossMM > coarsest {
		return left, right, fmt.Sprintf("the mat is too coarse: it takes 8 rows and columns, %.0f mm apart at most", coarsest)
	}
	if s.blind() {
		return left, right, unknown
	}
	b, ok := s.contact()
	tall, wide := float64(b.bottom-b.top+1)*s.AlongMM, float64(b.right-b.left+1)*s.AcrossMM
	if !ok || tall < least || wide < least {
		return left, right, "nobody sits on the mat"
	}
	middle := s.divide(b)
	back := (b.top + b.bottom) / 2
	right = s.heaviest(box{b.top, back, b.left, middle})
	left = s.heaviest(box{b.top, back, middle + 1, b.right})
	apart := float64(left.column-right.column) * s.AcrossMM
	before := math.Abs(float64(left.row-right.row)) * s.AlongMM
	typical := s.load(b) / float64(s.touched(b))
	switch {
	case s.patch(left) < standsOut*typical || s.patch(right) < standsOut*typical:
		return left, right, "no two patches stand out from the rest of the seat"
	case apart < nearest || apart > farthest:
		return left, right, fmt.Sprintf("the two heaviest patches are %.0f mm apart, as sitting bones are not", apart)
	case before > uneven:
		return left, right, fmt.Sprintf("one of the two heaviest patches is %.0f mm before the other: somebody sits aslant", before)
	}
	return left, right, ""
}

// divide returns the last column of the right half of somebody's load.
func (s *sheet) divide(b box) int {
	whole, sum := s.load(b), 0.0
	for c := b.left; c < b.right; c++ {
		if sum += s.load(box{b.top, b.bottom, c, c}); 2*sum >= whole {
			// The middle lies in this column: to which half does most of it go?
			if over := sum - whole/2; over > s.load(box{b.top, b.bottom, c, c})/2 && c > b.left {
				return c - 1
			}
			return c
		}
	}
	return b.right - 1
}

// heaviest returns the middle of the patch in a box that bears most.
func (s *sheet) heaviest(b box) spot {
	best, most := spot{b.top, b.left}, -1.0
	for r := b.top; r <= b.bottom; r++ {
		for c := b.left; c <= b.right; c++ {
			if v := s.patch(spot{r, c}); v > most {
				best, most = spot{r, c}, v
			}
		}
	}
	return best
}

// patch is the mean about a cell.
func (s *sheet) patch(p spot) float64 {
	down, on := int(patchSize/2/s.AlongMM+0.5), int(patchSize/2/s.AcrossMM+0.5)
	b := s.clipped(box{p.row - down, p.row + down, p.column - on, p.column + on})
	return s.load(b) / float64((b.bottom-b.top+1)*(b.right-b.left+1))
}

func (s *sheet) touched(b box) (n int) {
	for r := b.top; r <= b.bottom; r++ {
		for c := b.left; c <= b.right; c++ {
			if s.cells[r*s.Columns+c] > 0 {
				n++
			}
		}
	}
	return n
}
