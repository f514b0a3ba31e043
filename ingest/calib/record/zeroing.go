package record

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
)

// MostZero is how far zeroing may move a channel, in mmHg, either way. A
// channel that is further off at rest is not at rest, or needs calibrating.
const MostZero = 5

// MostMoved is how far the means of the two halves of what was read at rest may lie
// apart, in mmHg: what moves by more is not at rest. It is a fifth of MostZero.
const MostMoved = 1

// A Zeroing is one zeroing of unloaded channels of a source, or, with Undo, the
// taking back of the last one of each. It is apart from calibration, whose records
// it never changes: what a channel shows at rest is taken off its pressures from
// then on, until a later calibration of it comes into force. Its uncertainty stays.
type Zeroing struct {
	Bridge   string    `json:"bridge"`
	Source   string    `json:"source"`
	At       time.Time `json:"at"`
	By       string    `json:"by"` // code
	Channels []int     `json:"channels"`
	Shown    []float64 `json:"shown_mmhg,omitempty"` // by channel: what it shows without any zeroing; of an Undo none
	Undo     bool      `json:"undo,omitempty"`
}

// A Rest is what one channel showed while it was to be at rest, without any zeroing,
// in mmHg; NaN where it was not heard.
type Rest struct {
	Mean  float64
	Moved float64 // from the first half to the second
}

// refusals is how many channels an error names.
const refusals = 5

// Rests sets what the channels showed at rest. Unless every one was at rest and
// within MostZero, the error says what is the matter with those that were not.
func (z *Zeroing) Rests(all []Rest) error {
	var wrong []string
	z.Shown = z.Shown[:0]
	for i, r := range all {
		z.Shown = append(z.Shown, r.Mean)
		switch c := z.Channels[i]; {
		case math.IsNaN(r.Mean) || math.IsNaN(r.Moved):
			wrong = append(wrong, fmt.Sprintf("channel %d has no value: see to it first", c))
		case math.Abs(r.Mean) > MostZero:
			wrong = append(wrong, fmt.Sprintf("channel %d shows %.1f mmHg, more than %d mmHg: see that nothing rests on it, or calibrate it again", c, r.Mean, MostZero))
		case math.Abs(r.Moved) > MostMoved:
			wrong = append(wrong, fmt.Sprintf("channel %d moved by %.1f mmHg: let it rest", c, r.Moved))
		}
	}
	if len(wrong) == 0 {
		return nil
	}
	if more := len(wrong) - refusals; more > 0 {
		wrong = append(wrong[:refusals], fmt.Sprintf("and %d more", more))
	}
	return fmt.Errorf("nothing was zeroed: %s", strings.Join(wrong, "; "))
}

// Check says why a zeroing cannot be used.
func (z *Zeroing) Check() error {
	switch {
	case len(z.Channels) == 0:
		return errors.New("a zeroing of no channel")
	case z.Undo && len(z.Shown) > 0, !z.Undo && len(z.Shown) != len(z.Channels):
		return fmt.Errorf("a zeroing of %d channels with %d values", len(z.Channels), len(z.Shown))
	}
	named := map[int]bool{}
	for _, c := range z.Channels {
		if c < 0 || named[c] {
			return fmt.Errorf("a zeroing of channel %d, which is none or is named twice", c)
		}
		named[c] = true
	}
	for i, v := range z.Shown {
		if !(math.Abs(v) <= MostZero) {
			return fmt.Errorf("a zeroing of channel %d by %g mmHg: want %d mmHg at most", z.Channels[i], v, MostZero)
		}
	}
	return nil
}
