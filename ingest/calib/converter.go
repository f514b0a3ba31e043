package calib

import (
	"fmt"
	"math"
	"slices"
)

// NoRail is the rail of a channel that cannot saturate.
var NoRail = math.Inf(1)

// A Converter applies the calibration of one source. It is fixed once made and
// may be used by several goroutines at a time.
type Converter struct {
	kind     kind
	same     Line      // for kind uniform
	slope    []float64 // for kind each: one a channel
	offset   []float64
	channels int
}

type kind uint8

const (
	unknown kind = iota // counts and no calibration
	asIs                // mmHg
	uniform             // one line for all channels
	each                // a line a channel
)

// NewConverter returns the converter of a source with the given number of
// channels. Lines has one entry a channel, or a single one for all of them, or
// none: a source of counts without lines has no pressure. A source in mmHg
// takes no lines.
func NewConverter(unit Unit, channels int, lines []Line) (*Converter, error) {
	c := &Converter{channels: channels}
	if channels <= 0 {
		return nil, fmt.Errorf("source has %d channels", channels)
	}
	if unit == MMHg && len(lines) > 0 {
		return nil, fmt.Errorf("source delivers mmHg and has a calibration as well")
	}
	if n := len(lines); n > 1 && n != channels {
		return nil, fmt.Errorf("calibration of %d channels for a source with %d", n, channels)
	}
	for i, l := range lines {
		if err := l.Check(); err != nil {
			return nil, fmt.Errorf("channel %d: %w", i, err)
		}
	}
	switch {
	case unit == MMHg:
		c.kind = asIs
	case !slices.ContainsFunc(lines, func(l Line) bool { return !l.IsNone() }):
		c.kind = unknown
	case !slices.ContainsFunc(lines, func(l Line) bool { return l.Slope != lines[0].Slope || l.Offset != lines[0].Offset }):
		c.kind, c.same = uniform, lines[0]
	default:
		c.kind = each
		c.slope, c.offset = make([]float64, channels), make([]float64, channels)
		for i, l := range lines {
			c.slope[i], c.offset[i] = l.Slope, l.Offset
		}
	}
	return c, nil
}

// Calibrated reports whether any channel has a pressure.
func (c *Converter) Calibrated() bool { return c.kind != unknown }

// Convert sets values to the pressures in mmHg of raw, which are readings of
// the channels from first on, and returns how many of them were at the rail.
//
// A reading at or above rail is unknown: the true value may be anything beyond
// it. So is NaN, and every reading of a channel that has no calibration.
// Convert panics if values is shorter than raw, or if raw reaches beyond the
// source's channels.
func (c *Converter) Convert(values, raw []float64, first int, rail float64) (saturated int) {
	if first < 0 || first+len(raw) > c.channels {
		panic("calib: readings beyond the source's channels")
	}
	values = values[:len(raw)]
	switch c.kind {
	case asIs:
		return convertAsIs(values, raw, rail)
	case uniform:
		return convertUniform(values, raw, c.same, rail)
	case each:
		end := first + len(raw)
		return convertEach(values, raw, c.slope[first:end], c.offset[first:end], rail)
	}
	for i, v := range raw {
		values[i] = math.NaN()
		if v >= rail {
			saturated++
		}
	}
	return saturated
}

// The three loops below meet every reading of every mat. A rail is rare, so a
// branch that the processor learns costs less than arithmetic that avoids it,
// and a pair at a time costs less than one by one. NaN is never >= anything and
// goes through the line unchanged.

func convertAsIs(values, raw []float64, rail float64) (saturated int) {
	return convertUniform(values, raw, Line{Slope: 1}, rail) // 1*v + 0 is v
}

func convertUniform(values, raw []float64, l Line, rail float64) (saturated int) {
	slope, offset := l.Slope, l.Offset
	values = values[:len(raw)]
	i := 0
	for ; i < len(raw)-1; i += 2 {
		a, b := raw[i], raw[i+1]
		p, q := float64(slope*a)+offset, float64(slope*b)+offset
		if a >= rail {
			p = math.NaN()
			saturated++
		}
		if b >= rail {
			q = math.NaN()
			saturated++
		}
		values[i], values[i+1] = p, q
	}
	for ; i < len(raw); i++ {
		values[i] = float64(slope*raw[i]) + offset
		if raw[i] >= rail {
			values[i] = math.NaN()
			saturated++
		}
	}
	return saturated
}

func convertEach(values, raw, slope, offset []float64, rail float64) (saturated int) {
	values, slope, offset = values[:len(raw)], slope[:len(raw)], offset[:len(raw)]
	i := 0
	for ; i < len(raw)-1; i += 2 {
		a, b := raw[i], raw[i+1]
		p, q := float64(slope[i]*a)+offset[i], float64(slope[i+1]*b)+offset[i+1]
		if a >= rail {
			p = math.NaN()
			saturated++
		}
		if b >= rail {
			q = math.NaN()
			saturated++
		}
		values[i], values[i+1] = p, q
	}
	for ; i < len(raw); i++ {
		values[i] = float64(slope[i]*raw[i]) + offset[i]
		if raw[i] >= rail {
			values[i] = math.NaN()
			saturated++
		}
	}
	return saturated
}
