package applied

import "unsafe"

// BytesPerChannel is what a conversion needs to know of each channel of the first
// source: tables and motions, without the records.
func (s *Set) BytesPerChannel() float64 {
	src := &s.sources[0]
	if len(src.channels) == 0 {
		return 0
	}
	bytes := cap(src.pieces)*int(unsafe.Sizeof(piece{})) + cap(src.quick)*int(unsafe.Sizeof(quick{})) + cap(src.moving)*int(unsafe.Sizeof(moving{}))
	for _, c := range src.channels {
		bytes += int(unsafe.Sizeof(*c)) + 4*cap(c.fresh)
		if c.moves != nil {
			bytes += int(unsafe.Sizeof(*c.moves))
		}
	}
	return float64(bytes) / float64(len(src.channels))
}
