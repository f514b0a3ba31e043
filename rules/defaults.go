package rules

import (
	"fmt"
	"strings"
	"time"

	"weald/rules/relief"
	"weald/rules/turning"
)

// A Default is a setting that a rule has where the configuration is silent, and
// where it is from. None is a recommendation: local policy decides.
type Default struct {
	Kind   string    // of rule
	Place  PlaceKind // "" for every kind
	Key    string    // as the configuration writes it
	Value  any       // a number, a time.Duration, a text or a list of them
	Source string
}

const own = "our own choice, no source"

// Defaults lists every default of every kind of rule.
func Defaults() []Default {
	return []Default{
		{"graduation", Wrap, "ratio", 0.8, "RAL-GZ 387/1:2008 permits 50 to 80 % of the ankle at the calf for classes I and II (from memory)"},
		{"graduation", Wrap, "while", "still", "walking moves the pressures of two sites by different amounts (common practice, no source)"},
		{"exposure", "", "share", 0.8, own},
		{"exposure", "", "floor", 20.0, "common practice, no source"},
		{"exposure", "", "resets_after", 2 * time.Minute, "oxygen under the ischia is back after 1 min 51 s on average: Coggrave, Rose, Spinal Cord 2003;41:692-695 (from memory)"},
		{"exposure", "", "recovery", 30 * time.Minute, own},
		{"relief", Seat, "interval", 30 * time.Minute, "Consortium for Spinal Cord Medicine 2014: off the seat for 1 to 2 min every 30 min, with an ulcer; routine advice is 15 to 30 min (Spinal Cord 2008, sc200872)"},
		{"relief", Seat, "depth", [2]float64{0.3, 0.9}, "Sonenblum, Sprigle, Martin, J Rehabil Res Dev 2016;53(5):585-598"},
		{"relief", Seat, "lasting", 15 * time.Second, "Sonenblum, Sprigle, Martin, J Rehabil Res Dev 2016;53(5):585-598"},
		{"relief", Seat, "empty_for", time.Minute, "common practice, no source"},
		{"relief", Seat, "counts", []relief.Kind{relief.Shift, relief.Relief, relief.Transfer}, own},
		{"turn", Bed, "interval", 2 * time.Hour, "Consortium for Spinal Cord Medicine 2014, 2nd ed.: in bed at least every 2 h; NICE QS89 statement 5 asks for at least every 6 h at risk, 4 h at high risk"},
		{"turn", Bed, "settle", turning.DefaultSettle, "common practice, no source"},
		{"rate", "", "per", time.Minute, own},
		{"rate", "", "window", 10 * time.Minute, own},
		{"quality", "", "unchanged", 10 * time.Minute, "common practice, no source"},
		{"quality", "", "share", 0.02, own},
		{"quality", "", "loss", 0.05, own},
		{"quality", "", "clock", 2 * time.Second, own},
		{"quality", "", "battery", 15.0, own},
		{"drift", Wrap, "by", 9.4, "23.5 % of 40 mmHg, the mean loss within 4 h: J Wound Management 2023;24(3):87-94"},
		{"drift", Wrap, "settle", 90 * time.Minute, "resting pressure is steady after 90 min: J Wound Management 2023;24(3):87-94"},
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
