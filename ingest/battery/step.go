package battery

import "time"

// Step says that the host has moved its clock, and with it the times of all
// statuses to come.
func (t *Trend) Step(by time.Duration) {
	t.at, t.before = t.at.Add(by), t.before.Add(by)
	t.above, t.rose, t.fresh = t.above.Add(by), t.rose.Add(by), t.fresh.Add(by)
	t.fit.at = t.fit.at.Add(by)
	for i := range t.bins {
		t.bins[i].from = t.bins[i].from.Add(by)
	}
}
