package emulate

import (
	"math"
	"math/rand/v2"
)

// noise is a stream of random numbers that depends on a seed and on what it is
// for, so that one more draw in one place changes nothing in another.
func noise(seed uint64, what uint64) *rand.PCG { return rand.NewPCG(seed, what) }

// gauss draws from a distribution of mean 0 and standard deviation 1 that is
// near enough to a normal one: the sum of eight bytes. It is cheap, as a mat
// needs thousands a scan.
func gauss(src *rand.PCG) float64 {
	const pairs = 0x00ff00ff00ff00ff
	u := src.Uint64()
	u = u&pairs + u>>8&pairs // four sums of two bytes
	u += u >> 32             // two sums of four
	u += u >> 16
	// Eight bytes sum to 1020 on average with a standard deviation of
	// sqrt(8 (256²-1)/12) = 209.02.
	return (float64(u&0xffff) - 1020) / 209.02
}

// A Sensor turns pressure into counts.
type Sensor struct {
	PerMMHg float64 // counts per mmHg
	Top     float64 // the largest count; higher pressure reads as this
	Noise   float64 // standard deviation in counts
	Gain    float64 // standard deviation of the channels' gains around 1
	Dead    float64 // share of channels that read 0 whatever happens
}

// gains returns a factor a channel, 0 for a dead one.
func (s Sensor) gains(channels int, seed uint64) []float64 {
	src := noise(seed, 'g')
	uniform := rand.New(src)
	g := make([]float64, channels)
	for i := range g {
		g[i] = max(0, 1+s.Gain*gauss(src))
		if uniform.Float64() < s.Dead {
			g[i] = 0
		}
	}
	return g
}

// read replaces pressures by counts.
func (s Sensor) read(values, gains []float64, src *rand.PCG) {
	for i, p := range values {
		c := 0.0
		if gains[i] > 0 {
			c = math.Round(p*s.PerMMHg*gains[i] + s.Noise*gauss(src))
		}
		values[i] = min(max(c, 0), s.Top)
	}
}
