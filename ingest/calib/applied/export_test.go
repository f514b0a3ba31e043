package applied

import "unsafe"

// BytesPerChannel is what a conversion needs to know of each channel of the first
// source: all but what it says of each scan.
func (s *Set) BytesPerChannel() float64 {
	src := &s.sources[0]
	if len(src.channels) == 0 {
		return 0
	}
	lots := map[*lot]bool{}
	for _, c := range src.channels {
		lots[c.lot] = true
	}
	bytes := size(src.channels) + size(src.stretches) + size(src.rests) + size(src.courses) + size(src.crepts) + size(src.due) + size(src.words) +
		len(lots)*int(unsafe.Sizeof(lot{}))
	return float64(bytes) / float64(len(src.channels))
}

func size[T any](s []T) int {
	var one T
	return cap(s) * int(unsafe.Sizeof(one))
}
