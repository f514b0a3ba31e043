package rules

import (
	"fmt"
	"strings"

	"weald/rules/alert"
)

// lifeSentence explains a change that no watch has found: what a person did, and
// what time brought about.
func lifeSentence(e *alert.Event, l *alert.Life) string {
	by := ""
	if e.Who != "" {
		by = " by " + e.Who
	}
	why := ""
	if why = strings.TrimSpace(e.Why); why != "" {
		why = ": " + why
	}
	stood := func(format string) string {
		if e.Held <= 0 {
			return ""
		}
		return fmt.Sprintf(format, Duration(e.Held))
	}
	switch e.What {
	case alert.WasAcknowledged:
		return "acknowledged" + by + stood(", %s after it was raised") + why
	case alert.WasShelved:
		return "shelved" + by + " for " + Duration(e.Until.Sub(e.At)) + why
	case alert.WasUnshelved:
		return "no longer shelved, " + nowIs(e, by) + why
	case alert.Ended:
		return "no longer shelved, as its time is over, " + nowIs(e, "")
	case alert.WentOut:
		return "taken out of service" + by + why
	case alert.CameBack:
		return "back in service, " + nowIs(e, by) + why
	case alert.WasSuppressed:
		return "put aside by design: there is nobody to be judged"
	case alert.WasUnsuppressed:
		return "judged again, " + nowIs(e, "")
	case alert.Escalated:
		return fmt.Sprintf("not acknowledged%s: now the call of tier %d", stood(" for %s since it was raised"), e.Tier)
	case alert.Calmed:
		calm := "no longer chattering: it has not been raised anew for " + Duration(alert.ChatterSpan)
		if e.Stands {
			return calm + ", and stands"
		}
		return calm + "; the alert stood for " + Duration(e.Held)
	}
	return string(e.What)
}

// nowIs says what an alert is after somebody, or nobody, has taken it back.
func nowIs(e *alert.Event, by string) string {
	if by != "" {
		by = by[1:] + ", "
	}
	return by + "and " + strings.ReplaceAll(string(e.State), "-", " ")
}
