package main

import "testing"

func TestRatesOfAlertsAreWrittenForPeople(t *testing.T) {
	for rate, want := range map[float64]string{
		0: "0.00", 2.7e-9: "under 0.01", 0.01: "0.01", 0.246: "0.25", 1.44: "1.4", 72.4: "72", 12345: "12345",
	} {
		if got := perHour(rate); got != want {
			t.Errorf("%v an hour is written %q, want %q", rate, got, want)
		}
	}
}
