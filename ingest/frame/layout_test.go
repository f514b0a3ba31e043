package frame

import (
	"testing"
	"time"
	_ "time/tzdata" // the zones of the tests, whatever the machine has
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// A sequence of local times and what they are in UTC; "" is a refusal.
type localCase struct{ local, utc string }

func checkLocal(t *testing.T, layout string, z *time.Location, cases []localCase) {
	t.Helper()
	l := newLocalTimes(&TimeColumn{As: InLayout, Layout: layout, Zone: z})
	for _, c := range cases {
		at, why := l.parse(c.local)
		got := ""
		if why == "" {
			got = at.String()
		}
		if got != c.utc {
			t.Errorf("%s: got %q (%s), want %q", c.local, got, why, c.utc)
		}
	}
}

// In Berlin clocks went from 3 to 2 on 2024-10-27, at 01:00 UTC.
func TestLayoutRepeatedHour(t *testing.T) {
	berlin := zone(t, "Europe/Berlin")
	t.Run("read forward, both passes", func(t *testing.T) {
		checkLocal(t, time.DateTime, berlin, []localCase{
			{"2024-10-27 01:59:59", "2024-10-26T23:59:59Z"},
			{"2024-10-27 02:00:00", "2024-10-27T00:00:00Z"},
			{"2024-10-27 02:59:59", "2024-10-27T00:59:59Z"},
			{"2024-10-27 02:00:00", "2024-10-27T01:00:00Z"}, // backwards: the second pass
			{"2024-10-27 02:30:00", "2024-10-27T01:30:00Z"},
			{"2024-10-27 02:59:59", "2024-10-27T01:59:59Z"},
			{"2024-10-27 03:00:00", "2024-10-27T02:00:00Z"},
		})
	})
	t.Run("a slightly wrong order stays in the first pass", func(t *testing.T) {
		checkLocal(t, time.DateTime, berlin, []localCase{
			{"2024-10-27 02:10:02", "2024-10-27T00:10:02Z"},
			{"2024-10-27 02:10:00", "2024-10-27T00:10:00Z"},
			{"2024-10-27 02:10:03", "2024-10-27T00:10:03Z"},
		})
	})
	t.Run("begun inside is the first pass", func(t *testing.T) {
		checkLocal(t, time.DateTime, berlin, []localCase{{"2024-10-27 02:30:00", "2024-10-27T00:30:00Z"}})
	})
}

// In Berlin clocks went from 2 to 3 on 2024-03-31, at 01:00 UTC.
func TestLayoutSkippedHour(t *testing.T) {
	checkLocal(t, time.DateTime, zone(t, "Europe/Berlin"), []localCase{
		{"2024-03-31 01:59:59", "2024-03-31T00:59:59Z"},
		{"2024-03-31 02:00:00", ""},
		{"2024-03-31 02:59:59", ""},
		{"2024-03-31 03:00:00", "2024-03-31T01:00:00Z"},
	})
}

func TestLayoutOtherZones(t *testing.T) {
	checkLocal(t, time.DateTime, zone(t, "Australia/Lord_Howe"), []localCase{ // half an hour, southern
		{"2024-04-07 01:29:59", "2024-04-06T14:29:59Z"},
		{"2024-04-07 01:45:00", "2024-04-06T14:45:00Z"},
		{"2024-04-07 01:30:00", "2024-04-06T15:00:00Z"},
		{"2024-04-07 02:00:00", "2024-04-06T15:30:00Z"},
	})
	checkLocal(t, time.DateTime, zone(t, "Asia/Kathmandu"), []localCase{
		{"2024-01-01 05:45:00", "2024-01-01T00:00:00Z"},
	})
	checkLocal(t, time.DateTime, time.UTC, []localCase{
		{"1678-01-01 00:00:00", "1678-01-01T00:00:00Z"},
		{"1677-12-31 00:00:00", ""},
		{"2262-01-01 00:00:00", ""},
	})
	checkLocal(t, "02.01.06 15:04:05.000", time.UTC, []localCase{
		{"31.12.23 23:59:59.250", "2023-12-31T23:59:59.25Z"},
		{"31.12.23", ""},
		{"29.02.23 00:00:00.000", ""},
		{"", ""},
	})
}

func TestLayoutWithZone(t *testing.T) {
	berlin := zone(t, "Europe/Berlin")
	checkLocal(t, "2006-01-02 15:04:05 -0700", nil, []localCase{
		{"2024-10-27 02:30:00 +0200", "2024-10-27T00:30:00Z"},
		{"2024-10-27 02:30:00 +0100", "2024-10-27T01:30:00Z"},
		{"2024-10-27 02:30:00 +0000", "2024-10-27T02:30:00Z"},
	})
	checkLocal(t, "2006-01-02 15:04:05 MST", berlin, []localCase{
		{"2024-10-27 02:30:00 CEST", "2024-10-27T00:30:00Z"},
		{"2024-10-27 02:30:00 CET", "2024-10-27T01:30:00Z"},
		{"2024-10-27 02:30:00 UTC", "2024-10-27T02:30:00Z"},
		{"2024-10-27 02:30:00 PDT", ""}, // not a guess of +0000
	})
}

func TestLayoutParts(t *testing.T) {
	for layout, want := range map[string]layoutHas{
		time.DateTime:          {true, false},
		time.RFC3339:           {true, true},
		"2006-01-02 15:04 MST": {true, true},
		"02/01/06 03:04 PM":    {true, false},
		"02/01/06 03:04":       {false, false}, // afternoon or not?
		"15:04:05":             {false, false},
		"2006-01-02":           {false, false},
		"yyyy-MM-dd HH:mm:ss":  {false, false},
		"":                     {false, false},
	} {
		if got := layoutParts(layout); got != want {
			t.Errorf("%q: got %+v, want %+v", layout, got, want)
		}
	}
}
