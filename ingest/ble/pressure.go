package ble

import (
	"encoding/binary"
	"fmt"
	"math"
	"time"

	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// Pressure says how the Bluetooth SIG's Pressure characteristic is to be read:
// an unsigned number of 32 bits, little endian, in steps of 0.1 Pa. The
// characteristic does not say what the pressure is measured against; the maker
// does.
//
// Each notification becomes one reading of channel 0 of one source, in a packed
// frame. A count is Step pascals and Line makes mmHg above ambient of it. The
// frame is numbered and timed where it is made, as the characteristic has
// neither number nor time, so losses on the radio do not show. A pressure beyond
// the counts, such as a gauge's that wrapped below zero, is no reading, never
// one at the limit. A notification that is not four bytes long is passed on as it
// came, to be refused and counted.
//
// There is no zeroing by the first reading: whatever load there was at that
// moment, or at the moment after a drop, would be taken for none.
type Pressure struct {
	Is Reference

	// Ambient is the pressure of the surrounding air in hPa, for Absolute. The
	// weather moves it by several hPa a day, and 1 hPa is 0.75 mmHg: a fixed
	// number serves for hours beside a barometer, not for days.
	Ambient float64

	// Source is the number of the source in the frames.
	Source uint16
}

// A Reference is what a pressure is measured against.
type Reference string

// The references.
const (
	Gauge    Reference = "gauge"    // ambient air
	Absolute Reference = "absolute" // a vacuum
)

// Ambient pressure on the ground, in hPa, with room for mountains and storms.
const (
	lowestAmbient  = 500
	highestAmbient = 1100
)

func (p *Pressure) problems() (problems []*Problem) {
	bad := func(key, format string, args ...any) {
		problems = append(problems, &Problem{key, fmt.Sprintf(format, args...)})
	}
	switch p.Is {
	case Gauge:
		if p.Ambient != 0 {
			bad("pressure.ambient_hpa", "a gauge measures against ambient air already")
		}
	case Absolute:
		if !(p.Ambient >= lowestAmbient && p.Ambient <= highestAmbient) {
			bad("pressure.ambient_hpa", "an absolute pressure needs that of ambient air, %d to %d hPa", lowestAmbient, highestAmbient)
		}
	default:
		bad("pressure.is", "%q is not known; it is gauge or absolute, as the maker of the sensor says", p.Is)
	}
	return problems
}

// Step is how many pascals a count is: the finest that leaves room for 490 mmHg
// above ambient, or for the air of any weather and 150 mmHg on top.
func (p *Pressure) Step() float64 {
	if p.Is == Absolute {
		return 2
	}
	return 1
}

// Line returns the calibration of the source's only channel: mmHg above ambient
// air of counts. What the sensor's maker promises is not in it, so its U is
// unknown.
func (p *Pressure) Line() calib.Line {
	l := calib.Line{Slope: float64(sample.FromPascals(p.Step())), U: math.NaN()}
	if p.Is == Absolute {
		l.Offset = -float64(sample.FromPascals(100 * p.Ambient))
	}
	return l
}

// parsePressure returns the pascals in a value of characteristic 0x2A6D, and
// false where it is not one.
func parsePressure(value []byte) (pascals float64, ok bool) {
	if len(value) != 4 {
		return 0, false
	}
	return float64(binary.LittleEndian.Uint32(value)) / 10, true
}

// highest is the largest count of a packed frame; the next one means "no
// reading".
const highest = 0xFFFE

// An encoder makes packed frames of pressures. It numbers them on, from one
// connection to the next, so that a reconnection is no restart of the source.
type encoder struct {
	step   float64
	source uint16
	began  time.Time
	seq    uint32
	one    [1]float64
}

func newEncoder(p *Pressure) *encoder {
	return &encoder{step: p.Step(), source: p.Source, began: time.Now()}
}

// encode returns a frame with the pressure in value, built in *buf.
func (e *encoder) encode(buf *[]byte, value []byte) []byte {
	pascals, ok := parsePressure(value)
	if !ok {
		return value
	}
	if e.one[0] = math.Round(pascals / e.step); e.one[0] > highest {
		e.one[0] = sample.Unknown
	}
	f := frame.Frame{
		Kind: frame.Readings, Source: e.source, Seq: e.seq,
		Millis: uint32(time.Since(e.began).Milliseconds()), Readings: e.one[:],
	}
	e.seq++
	b, err := frame.AppendPacked((*buf)[:0], &f, frame.U16)
	if err != nil {
		panic("ble: a pressure without an encoding: " + err.Error())
	}
	*buf = b
	return b
}
