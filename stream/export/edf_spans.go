package export

import "sort"

// spans are the records of a grid that are written: runs of neighbours, in
// order. Two numbers count them: the index on the grid, which goes on through
// gaps, and the number in the file.
type spans struct {
	runs  []span
	count int64
}

type span struct {
	index  int64 // on the grid, of its first record
	number int64 // in the file, of its first record
}

// add appends the record with the given index, which is above all others.
func (s *spans) add(index int64) {
	if n := len(s.runs); n == 0 || index != s.runs[n-1].index+s.count-s.runs[n-1].number {
		s.runs = append(s.runs, span{index, s.count})
	}
	s.count++
}

// index returns the index on the grid of a record of the file.
func (s *spans) index(number int64) int64 {
	i := sort.Search(len(s.runs), func(i int) bool { return s.runs[i].number > number }) - 1
	return s.runs[i].index + number - s.runs[i].number
}

// at returns the number of the last record in the file whose index is not above
// index, and 0 if there is none.
func (s *spans) at(index int64) int64 {
	i := sort.Search(len(s.runs), func(i int) bool { return s.runs[i].index > index }) - 1
	if i < 0 {
		return 0
	}
	end := s.count
	if i+1 < len(s.runs) {
		end = s.runs[i+1].number
	}
	return min(s.runs[i].number+index-s.runs[i].index, end-1)
}
