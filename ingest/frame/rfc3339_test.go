package frame

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
)

// The first two are examples of RFC 3339 section 5.8; the leap seconds and
// 1937 are too, from memory.
func TestParseRFC3339(t *testing.T) {
	for in, want := range map[string]string{
		"1985-04-12T23:20:50.52Z":         "1985-04-12T23:20:50.52Z",
		"1996-12-19T16:39:57-08:00":       "1996-12-20T00:39:57Z",
		"1990-12-31T23:59:60Z":            "1991-01-01T00:00:00Z",
		"1990-12-31T15:59:60-08:00":       "1991-01-01T00:00:00Z",
		"1990-12-31T23:59:60.9Z":          "1991-01-01T00:00:00Z",
		"1937-01-01T12:00:27.87+00:20":    "1937-01-01T11:40:27.87Z",
		"2024-02-29t00:00:00z":            "2024-02-29T00:00:00Z",
		"2024-02-29 00:00:00-00:00":       "2024-02-29T00:00:00Z",
		"2024-02-29T00:00:00.123456789Z":  "2024-02-29T00:00:00.123456789Z",
		"2024-02-29T00:00:00.1234567899Z": "2024-02-29T00:00:00.123456789Z",
		"1678-01-01T00:00:00Z":            "1678-01-01T00:00:00Z",
		"2261-12-31T23:59:59Z":            "2261-12-31T23:59:59Z",
	} {
		at, ok := parseRFC3339([]byte(in))
		if got := at.String(); !ok || got != want {
			t.Errorf("%s: got %s, %v, want %s", in, got, ok, want)
		}
	}
}

func TestParseRFC3339Refusals(t *testing.T) {
	for _, in := range []string{
		"", "2024-01-01", "2024-01-01T00:00:00", "2024-01-01T00:00Z", "2024-1-01T00:00:00Z", "2024-01-01T0:00:00Z ",
		"2024-13-01T00:00:00Z", "2024-00-01T00:00:00Z", "2024-01-00T00:00:00Z", "2024-01-32T00:00:00Z",
		"2023-02-29T00:00:00Z", "2024-04-31T00:00:00Z", "2024-01-01T24:00:00Z", "2024-01-01T00:60:00Z",
		"2024-01-01T00:00:61Z", "2024-01-01T12:00:60Z", "2024-01-15T23:59:60Z", "1990-12-31T23:59:60-08:00",
		"2024-01-01T00:00:00.Z", "2024-01-01T00:00:00,5Z", "2024-01-01T00:00:00+0100", "2024-01-01T00:00:00+24:00",
		"2024-01-01T00:00:00+01:60", "2024-01-01T00:00:00Zx", "2024-01-01_00:00:00Z", "2024-W01-1T00:00:00Z",
		"2024-001T00:00:00.00Z", "1677-12-31T00:00:00Z", "2262-01-01T00:00:00Z", "9999-12-31T23:59:59Z",
	} {
		if at, ok := parseRFC3339([]byte(in)); ok {
			t.Errorf("%q: got %v, want a refusal", in, at)
		}
	}
}

func TestParseRFC3339RoundTrip(t *testing.T) {
	first, last := time.Date(1678, 1, 2, 0, 0, 0, 0, time.UTC), time.Date(2261, 12, 30, 0, 0, 0, 0, time.UTC)
	rapid.Check(t, func(t *rapid.T) {
		want := sample.Instant(rapid.Int64Range(first.UnixNano(), last.UnixNano()).Draw(t, "at"))
		zone := time.FixedZone("", 60*rapid.IntRange(-14*60, 14*60).Draw(t, "offset"))
		text := want.Time().In(zone).Format(time.RFC3339Nano)
		if got, ok := parseRFC3339([]byte(text)); !ok || got != want {
			t.Fatalf("%s: got %v, %v", text, got, ok)
		}
	})
}
