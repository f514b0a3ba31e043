package main

import (
	"testing"
	"time"
)

func TestRatesOfAlertsAreWrittenForPeople(t *testing.T) {
	for rate, want := range map[float64]string{
		0: "0.00", 2.7e-9: "under 0.01", 0.01: "0.01", 0.246: "0.25", 1.44: "1.4", 72.4: "72", 12345: "12345",
	} {
		if got := perHour(rate); got != want {
			t.Errorf("%v an hour is written %q, want %q", rate, got, want)
		}
	}
}

func TestARateIsNotMadeOfLessThanAnHour(t *testing.T) {
	if got, want := alertRate(400, 9*time.Second), "9s is too short for a rate of alerts by the hour"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got, want := alertRate(4, 90*time.Minute), "4.0 alerts per place and hour"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
