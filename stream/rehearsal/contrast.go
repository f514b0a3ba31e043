package rehearsal

import "weald/rules/contrast"

// Contrast lays two results over the same readings side by side.
func Contrast(before, after *Result) []contrast.Change {
	return contrast.Compare(contrast.Episodes(before.Events, before.To), contrast.Episodes(after.Events, after.To))
}
