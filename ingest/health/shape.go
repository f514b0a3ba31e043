package health

import (
	"fmt"
	"slices"
	"sync"
)

// A shape knows the neighbours of each channel.
type shape struct {
	near   []uint16 // of channel 0, then of channel 1, ...
	starts []int32  // where a channel's begin; one more than there are channels
	direct []uint8  // how many of them share an edge with the channel; they come first

	farthest int // largest distance of two neighbours' numbers
}

// around returns the channels around channel i; the first direct ones share an
// edge with it. In a group there are no edges and direct is 0.
func (s *shape) around(i int) (near []uint16, direct int) {
	return s.near[s.starts[i]:s.starts[i+1]], int(s.direct[i])
}

// edges and corners are the steps to the neighbours of a cell.
var (
	edges   = [][2]int{{-1, 0}, {0, -1}, {0, 1}, {1, 0}}
	corners = [][2]int{{-1, -1}, {-1, 1}, {1, -1}, {1, 1}}
)

// grids has the shapes of whole grids, of which a ward has hundreds alike. A shape is
// not changed once it is made.
var grids sync.Map // of rows and columns

// shapeOf returns the shape of a source.
func shapeOf(c *Config) (*shape, error) {
	if len(c.Together) > 0 || c.Rows*c.Columns != c.Channels {
		return newShape(c)
	}
	of := [2]int{c.Rows, c.Columns}
	if s, ok := grids.Load(of); ok {
		return s.(*shape), nil
	}
	s, err := newShape(c)
	if err == nil {
		grids.Store(of, s)
	}
	return s, err
}

func newShape(c *Config) (*shape, error) {
	if c.Rows < 0 || c.Columns < 0 || c.Rows*c.Columns > c.Channels || (c.Rows == 0) != (c.Columns == 0) {
		return nil, fmt.Errorf("%d rows of %d columns do not fit %d channels", c.Rows, c.Columns, c.Channels)
	}
	mates := make(map[int][]int)
	for _, group := range c.Together {
		for _, i := range group {
			if i < 0 || i >= c.Channels {
				return nil, fmt.Errorf("channel %d of a group is not one of %d", i, c.Channels)
			}
			mates[i] = append(mates[i], group...)
		}
	}
	s := &shape{starts: make([]int32, 1, c.Channels+1), direct: make([]uint8, c.Channels)}
	for i := range c.Channels {
		begin := len(s.near)
		if i < c.Rows*c.Columns {
			s.step(c, i, edges)
			s.direct[i] = uint8(len(s.near) - begin)
			s.step(c, i, corners)
		}
		for _, j := range mates[i] {
			if j != i && !slices.Contains(s.near[begin:], uint16(j)) {
				s.near = append(s.near, uint16(j))
			}
		}
		s.starts = append(s.starts, int32(len(s.near)))
		for _, j := range s.near[begin:] {
			s.farthest = max(s.farthest, i-int(j), int(j)-i)
		}
	}
	return s, nil
}

// step adds those neighbours of cell i that exist.
func (s *shape) step(c *Config, i int, steps [][2]int) {
	for _, d := range steps {
		row, column := i/c.Columns+d[0], i%c.Columns+d[1]
		if row >= 0 && row < c.Rows && column >= 0 && column < c.Columns {
			s.near = append(s.near, uint16(row*c.Columns+column))
		}
	}
}
