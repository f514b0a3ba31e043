package frame

import (
	"encoding/binary"
	"unicode/utf8"
)

// statusLen is the length of a status payload before the firmware name: u16
// millivolts, u8 percent, i8 degrees, u32 seconds, u8 length of the name.
const statusLen = 9

// What a status frame writes for a battery that nobody measures.
const (
	noMillivolts = 0xFFFF
	noPercent    = 0xFF
)

// parseStatus reads the health in body, a frame without its CRC.
func (d *Packed) parseStatus(body []byte) (Reason, string) {
	for _, v := range body[12:headerLen] { // first, count, coding, flags
		if v != 0 {
			return BadFields, "a status frame with first, count, coding or flags"
		}
	}
	p := body[headerLen:]
	if len(p) < statusLen || len(p) != statusLen+int(p[statusLen-1]) {
		return BadFields, "the length of the firmware name does not fit the payload"
	}
	percent, name := int(p[2]), p[statusLen:]
	switch {
	case percent > 100 && percent != noPercent:
		return BadRange, "a battery above 100 %"
	case !utf8.Valid(name):
		return BadRange, "a firmware name that is not UTF-8"
	}
	health := Health{
		BatteryMV:      int(binary.LittleEndian.Uint16(p)),
		BatteryPercent: percent,
		Celsius:        int(int8(p[3])),
		UptimeS:        binary.LittleEndian.Uint32(p[4:]),
	}
	if health.BatteryMV == noMillivolts {
		health.BatteryMV = -1
	}
	if percent == noPercent {
		health.BatteryPercent = -1
	}
	if d.name != string(name) { // the same name again costs no allocation
		d.name = string(name)
	}
	health.Firmware = d.name
	d.f.Health = health
	return "", ""
}

// appendStatus appends the payload of a status frame.
func appendStatus(dst []byte, f *Frame) ([]byte, error) {
	h := &f.Health
	mv, percent := uint16(noMillivolts), byte(noPercent)
	switch {
	case h.BatteryMV >= noMillivolts || h.BatteryMV < -1:
		return nil, unfit(f, "a battery of %d mV does not fit", h.BatteryMV)
	case h.BatteryPercent > 100 || h.BatteryPercent < -1:
		return nil, unfit(f, "a battery of %d %% does not fit", h.BatteryPercent)
	case h.Celsius < NoCelsius || h.Celsius > 127:
		return nil, unfit(f, "a temperature of %d °C does not fit", h.Celsius)
	case len(h.Firmware) > 255:
		return nil, unfit(f, "a firmware name of %d bytes does not fit", len(h.Firmware))
	case !utf8.ValidString(h.Firmware):
		return nil, unfit(f, "a firmware name that is not UTF-8")
	}
	if h.BatteryMV >= 0 {
		mv = uint16(h.BatteryMV)
	}
	if h.BatteryPercent >= 0 {
		percent = byte(h.BatteryPercent)
	}
	dst = binary.LittleEndian.AppendUint16(dst, mv)
	dst = append(dst, percent, byte(int8(h.Celsius)))
	dst = binary.LittleEndian.AppendUint32(dst, h.UptimeS)
	dst = append(dst, byte(len(h.Firmware)))
	return append(dst, h.Firmware...), nil
}
