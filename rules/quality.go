package rules

import (
	"fmt"
	"strings"
	"time"
)

// A Quality is true while some channel of a site has a fault, or so many cells of a
// mat, or a source of theirs. The alert is the site's, or the mat's.
type Quality struct {
	Of []Fault // which faults; not empty

	// Unchanged is for how long a channel must not change at all, while what is
	// around it does, to be stuck or open.
	Unchanged time.Duration
	// Share is how many of a mat's cells must have a fault, from 0 for any one to 1.
	Share float64
	// Loss is the share of a source's frames, between 0 and 1, above which it loses
	// too many.
	Loss float64
	// Clock is by how much a source's clock may be off.
	Clock time.Duration
	// Battery is the level in percent at or below which a source's battery is low.
	Battery float64
}

// A Fault is what a channel, or its source, can have.
type Fault string

// The faults, in the order in which they are looked for: a channel is said to have
// the first.
const (
	Silent       Fault = "silent"       // nothing has been delivered for longer than values last
	Uncalibrated Fault = "uncalibrated" // readings come that no calibration makes a pressure of
	Saturated    Fault = "saturated"    // it reads what it does at its rail
	Missing      Fault = "missing"      // scans come without a value of the channel, for one of the reasons above, or not delivered, or withheld
	Open         Fault = "open"         // it reads its lowest, without any change, while what is around it is loaded
	Stuck        Fault = "stuck"        // it has not changed, while what is around it has
	Disagrees    Fault = "disagrees"    // with the other members of its site, so that it was dropped
	Expired      Fault = "expired"      // its calibration is past its date
	Extrapolated Fault = "extrapolated" // it measures a pressure outside of what it was calibrated for
	Lossy        Fault = "loss"         // its source loses frames
	Clock        Fault = "clock"        // its source's clock is off
	Battery      Fault = "battery"      // its source's battery is low; what tells no level has none
)

// Faults are all faults.
var Faults = []Fault{Silent, Uncalibrated, Saturated, Missing, Open, Stuck, Disagrees, Expired, Extrapolated, Lossy, Clock, Battery}

// FaultNames lists them for a sentence.
func FaultNames() string {
	names := strings.Fields(strings.Trim(fmt.Sprint(Faults), "[]"))
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " and " + names[last]
}

// words say of one channel that it has a fault.
func (f Fault) words(q *Quality) string {
	switch f {
	case Silent:
		return "is silent"
	case Uncalibrated:
		return "is not calibrated"
	case Saturated:
		return "is at the end of what it can read"
	case Missing:
		return "has no value"
	case Open:
		return "seems to have an open lead: it has read its lowest for " + Duration(q.Unchanged) + " while the others were loaded"
	case Stuck:
		return "is stuck: it has not changed for " + Duration(q.Unchanged) + " while the others did"
	case Disagrees:
		return "disagrees with the others and is left out"
	case Expired:
		return "is past the date of its calibration"
	case Extrapolated:
		return "measures outside of what it was calibrated for"
	}
	return string(f)
}

// short say how many cells have it.
func (f Fault) short() string {
	switch f {
	case Uncalibrated:
		return "not calibrated"
	case Saturated:
		return "at the end of what they can read"
	case Missing:
		return "without a value"
	case Open:
		return "open"
	case Expired:
		return "past the date of their calibration"
	}
	return string(f)
}
