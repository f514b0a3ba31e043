package emulate

import (
	"math/rand/v2"
	"time"
)

// Damage is what goes wrong between a sensor and its reader. The zero Damage is
// a perfect line. The shares are of frames, 0 to 1.
type Damage struct {
	Drop   float64 // frames that never leave
	Repeat float64 // frames that are sent twice
	Flip   float64 // frames with one bit changed
	Noise  float64 // frames with bytes of noise before them

	// Every so often, by the sensor's clock, the plug is pulled for a while.
	// Only a Port can be unplugged.
	UnplugEvery, UnplugFor time.Duration
}

// maxNoise is the longest burst of noise, in bytes.
const maxNoise = 40

// send appends what becomes of a frame on a line with the damage d.
func (d Damage) send(dst, frame []byte, chance *rand.Rand) []byte {
	if d == (Damage{}) {
		return append(dst, frame...)
	}
	// Every chance is drawn for every frame, so that one kind of damage does
	// not change where another falls.
	drop, repeat, flip, noise := chance.Float64(), chance.Float64(), chance.Float64(), chance.Float64()
	bit, length := chance.IntN(8*len(frame)), 1+chance.IntN(maxNoise)
	if noise < d.Noise {
		for range length {
			dst = append(dst, byte(chance.Uint32()))
		}
	}
	if drop < d.Drop {
		return dst
	}
	start := len(dst)
	dst = append(dst, frame...)
	if flip < d.Flip {
		dst[start+bit/8] ^= 1 << (bit % 8)
	}
	if repeat < d.Repeat {
		dst = append(dst, frame...)
	}
	return dst
}

// unplugged reports whether the plug is out at t.
func (d Damage) unplugged(t time.Duration) bool {
	return d.UnplugEvery > 0 && t >= d.UnplugEvery && t%d.UnplugEvery < d.UnplugFor
}
