package rules_test

import (
	"testing"

	"weald/rules"
)

// Every default can be read by people.
func TestDefaultsInWords(t *testing.T) {
	want := map[string]string{
		"graduation ratio": "0.8", "graduation while": "still", "exposure floor": "20 mmHg", "exposure recovery": "30 min",
		"relief depth": "0.3 to 0.9", "relief counts": "shift, relief, transfer", "relief lasting": "15 s",
		"turn interval": "2 h", "drift by": "9.4 mmHg", "drift settle": "1 h 30 min",
	}
	for _, d := range rules.Defaults() {
		key := d.Kind + " " + d.Key
		if d.Words() == "" {
			t.Errorf("%s reads as nothing", key)
		}
		if w, ok := want[key]; ok && d.Words() != w {
			t.Errorf("%s reads %q, want %q", key, d.Words(), w)
		}
		delete(want, key)
	}
	for key := range want {
		t.Errorf("there is no default for %s", key)
	}
}
