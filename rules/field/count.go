package field

import (
	"time"

	"weald/rules/hold"
)

// Row adds to counts how often a hold raises over a trace with each of the
// delays, which ascend. The on-delay of the spec counts for nothing. x is where it
// works: use the same one for other limits and other traces.
func (x *Excursions) Row(t *Trace, band *hold.Certain, spec *hold.Spec, delays []time.Duration, counts []int) {
	for len(delays) > 0 && delays[0] <= 0 {
		now := *spec
		now.OnDelay = 0
		counts[0] += len(Alerts(t, band, &now))
		delays, counts = delays[1:], counts[1:]
	}
	if len(delays) > 0 {
		x.Find(t, band, spec)
		x.Raises(delays, counts)
	}
}
