package shape

import (
	"encoding"
	"strings"
	"testing"
	"time"
)

func TestDuration(t *testing.T) {
	for text, want := range map[string]time.Duration{
		"0": 0, "0s": 0, "250ms": 250 * time.Millisecond, "30s": 30 * time.Second, "1m30s": 90 * time.Second,
		"2h": 2 * time.Hour, "4d": 96 * time.Hour, "1.5h": 90 * time.Minute, "0.1s": 100 * time.Millisecond,
		"365d": 365 * 24 * time.Hour,
	} {
		var d Duration
		if err := d.UnmarshalText([]byte(text)); err != nil || time.Duration(d) != want {
			t.Errorf("%q gives %v, %v; want %v", text, time.Duration(d), err, want)
		}
	}
}

func TestRefusedTexts(t *testing.T) {
	for _, tt := range []struct {
		as         encoding.TextUnmarshaler
		text, want string
	}{
		{new(MQTTVersion), "3.1", `is "3.1": give 5 or 3.1.1`},
		{new(Duration), "30", "is 30 without a unit: give 30s if seconds are meant, or another of ms, m, h, d"},
		{new(Duration), "-5s", "is -5s: a duration cannot be negative, give 0s or more"},
		{new(Duration), "-5", "is -5: a duration cannot be negative, give 0s or more"},
		{new(Duration), "10min", `is "10min": give 10m`},
		{new(Duration), "10 minutes", `is "10 minutes": give 10m`},
		{new(Duration), "3 sec", `is "3 sec": give 3s`},
		{new(Duration), "2hours", `is "2hours": give 2h`},
		{new(Duration), "200 milliseconds", `is "200 milliseconds": give 200ms`},
		{new(Duration), "soon", `is "soon": give a duration such as 30s, 10m, 2h or 1d`},
		{new(Duration), "", `is "": give a duration such as 30s, 10m, 2h or 1d`},
		{new(Duration), "5us", `is "5us": give a duration such as 30s, 10m, 2h or 1d`},
		{new(Duration), "366d", `is "366d": give at most 365d`},
		{new(Duration), strings.Repeat("9", 400) + "d", `is "` + strings.Repeat("9", 60) + `…": give a duration such as 30s, 10m, 2h or 1d`},
		{new(ID), "Bed 4", `is "Bed 4": give at most 64 of a-z, 0-9, - and _, beginning with a letter or a digit`},
		{new(ID), "-a", `is "-a": give at most 64 of a-z, 0-9, - and _, beginning with a letter or a digit`},
		{new(ID), "a\n", `is "a\n": give at most 64 of a-z, 0-9, - and _, beginning with a letter or a digit`},
		{new(Hex), "12345", `is "12345": give four hexadecimal digits such as 2E8A`},
		{new(SourceRef), "hub", `is "hub": give bridge/source, such as hub/mat4`},
		{new(SourceRef), "a/b/0", `is "a/b/0": give bridge/source, such as hub/mat4`},
		{new(ChannelRef), "a/b", `is "a/b": give bridge/source/channel, such as trolley/leg/0`},
		{new(ChannelRef), "a/b/-1", `is "a/b/-1": give bridge/source/channel, such as trolley/leg/0`},
		{new(Range), "-1", `is "-1": give a number from 0, or a range such as 1-12`},
		{new(Range), "1..3", `is "1..3": give a number from 0, or a range such as 1-12`},
		{new(Range), "3-1", `is "3-1": give first-last, at most 65535, with the smaller number first`},
		{new(Range), "65536", `is "65536": give first-last, at most 65535, with the smaller number first`},
	} {
		err := tt.as.UnmarshalText([]byte(tt.text))
		if err == nil || err.Error() != tt.want {
			t.Errorf("%T %q: got %v, want %s", tt.as, tt.text, err, tt.want)
		}
	}
}

func TestTexts(t *testing.T) {
	var (
		id  ID
		hex Hex
		ref ChannelRef
		rng Range
	)
	for as, text := range map[encoding.TextUnmarshaler]string{&id: "0k_7-b", &hex: "00ab", &ref: "a/b/12", &rng: "1-12"} {
		if err := as.UnmarshalText([]byte(text)); err != nil {
			t.Errorf("%T %q: %v", as, text, err)
		}
	}
	if id != "0k_7-b" || hex != "00AB" || ref.String() != "a/b" || ref.Channel != 12 || rng != (Range{1, 12}) {
		t.Errorf("got %v %v %v %v", id, hex, ref, rng)
	}
}
