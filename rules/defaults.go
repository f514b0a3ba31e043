package rules

import (
	"fmt"
	"strings"
	"time"

	"weald/rules/relief"
	"weald/rules/turning"
)

// A Default is a setting that a rule has where the configuration is silent. Where it
// is from, config/figures says. None is a recommendation: local policy decides.
type Default struct {
	Kind  string    // of rule
	Place PlaceKind // "" for every kind
	Key   string    // as the configuration writes it
	Value any       // a number, a time.Duration, a text or a list of them
}

// Defaults lists every default of every kind of rule.
func Defaults() []Default {
	return []Default{
		{"graduation", Wrap, "ratio", 0.8},
		{"graduation", Wrap, "while", "still"},
		{"exposure", "", "share", 0.8},
		{"exposure", "", "floor", 20.0},
		{"exposure", "", "resets_after", 2 * time.Minute},
		{"exposure", "", "recovery", 30 * time.Minute},
		{"relief", Seat, "interval", 30 * time.Minute},
		{"relief", Seat, "depth", [2]float64{0.3, 0.9}},
		{"relief", Seat, "lasting", 15 * time.Second},
		{"relief", Seat, "empty_for", time.Minute},
		{"relief", Seat, "counts", []relief.Kind{relief.Shift, relief.Relief, relief.Transfer}},
		{"turn", Bed, "interval", 2 * time.Hour},
		{"turn", Bed, "settle", turning.DefaultSettle},
		{"rate", "", "per", time.Minute},
		{"rate", "", "window", 10 * time.Minute},
		{"quality", "", "unchanged", 10 * time.Minute},
		{"quality", "", "share", 0.02},
		{"quality", "", "loss", 0.05},
		{"quality", "", "clock", 2 * time.Second},
		{"quality", "", "battery", 15.0},
		{"drift", Wrap, "by", 9.4},
		{"drift", Wrap, "settle", 90 * time.Minute},
	}
}

// DefaultOf returns the default of a key of a kind of rule; nil where there is
// none.
func DefaultOf(kind, key string) any {
	for _, d := range Defaults() {
		if d.Kind == kind && d.Key == key {
			return d.Value
		}
	}
	return nil
}

// Words writes the value for people, with its unit where it has one: "30 min",
// "20 mmHg", "0.3 to 0.9", "shift, relief, transfer".
func (d Default) Words() string {
	switch v := d.Value.(type) {
	case time.Duration:
		return Duration(v)
	case float64:
		if key := d.Kind + " " + d.Key; key == "exposure floor" || key == "drift by" {
			return plain(v) + " mmHg"
		}
		return plain(v)
	case [2]float64:
		return plain(v[0]) + " to " + plain(v[1])
	case []relief.Kind:
		names := make([]string, len(v))
		for i, k := range v {
			names[i] = k.String()
		}
		return strings.Join(names, ", ")
	}
	return fmt.Sprint(d.Value)
}
