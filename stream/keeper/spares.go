package keeper

// mostSpare is how many buffers are kept for what comes.
const mostSpare = 256

// Spares are buffers that are not needed at present: what a ward sends in a second
// takes the room of what it sent in the one before.
type spares[T any] struct{ all [][]T }

// get returns an empty slice that may have room already.
func (s *spares[T]) get() []T {
	n := len(s.all)
	if n == 0 {
		return nil
	}
	b := s.all[n-1]
	s.all[n-1] = nil
	s.all = s.all[:n-1]
	return b[:0]
}

// put takes a buffer that nobody has any more.
func (s *spares[T]) put(b []T) {
	if len(s.all) < mostSpare && cap(b) > 0 {
		s.all = append(s.all, b)
	}
}
