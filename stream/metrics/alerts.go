package metrics

import (
	"github.com/prometheus/client_golang/prometheus"

	"weald/rules"
	"weald/rules/alert"
	"weald/stream/view"
)

// counts is how many alerts of a place and a rule are in a state.
type counts map[[3]string]int

func count(alerts []view.Alert) counts {
	n := counts{}
	for i := range alerts {
		n[[3]string{alerts[i].Place, alerts[i].Rule, alerts[i].State}]++
	}
	return n
}

// of adds the alerts of a place, rule by rule. That nobody is called, and that
// nobody is on the way, are counts too; of the other states there is a series
// only while some alert is in it. Of what is over, what is still listed counts.
func (n counts) of(found []fact, place string, holds []rules.Progress) []fact {
	said := map[string]bool{}
	for i := range holds {
		rule := holds[i].Rule
		if said[rule] {
			continue
		}
		said[rule] = true
		for _, state := range alert.States() {
			v := n[[3]string{place, rule, string(state)}]
			if always := state == alert.Unacknowledged || state == alert.Acknowledged; always || v > 0 && state != alert.Normal {
				found = append(found, fact{alertsNow, prometheus.GaugeValue, float64(v), []string{place, rule, holds[i].Priority.String(), string(state)}})
			}
		}
	}
	return found
}
