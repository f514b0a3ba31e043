package posture

// A Position is how a person lies.
type Position uint8

// The positions. The zero Position is NotSure, so that nobody's side is ever
// invented by forgetting to set it.
const (
	NotSure Position = iota
	Supine
	Left  // on the left side, whole or rolled to it
	Right // on the right side, whole or rolled to it
)

// String returns "not sure", "supine", "left" or "right".
func (p Position) String() string {
	switch p {
	case Supine:
		return "supine"
	case Left:
		return "left"
	case Right:
		return "right"
	}
	return "not sure"
}

// Mirrored returns the position that a mirror shows.
func (p Position) Mirrored() Position {
	switch p {
	case Left:
		return Right
	case Right:
		return Left
	}
	return p
}

// An Answer is what one map says about how a person lies on it.
type Answer struct {
	Position Position // NotSure where no share reaches Sure

	// Supine, Left and Right are the shares of belief, which sum to 1; all are
	// NaN where the map has too little to see a person in.
	Supine, Left, Right float64
}

// most returns the position with the largest share, and the share.
func (a *Answer) most() (Position, float64) {
	best, share := Supine, a.Supine
	if a.Left > share {
		best, share = Left, a.Left
	}
	if a.Right > share {
		best, share = Right, a.Right
	}
	return best, share
}
