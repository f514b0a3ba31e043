package shape

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"time"
)

// Patterns of the texts below, for the JSON Schema.
const (
	ClockPattern    = `^([01][0-9]|2[0-3]):[0-5][0-9]$`
	DailyPattern    = `^(never|([01][0-9]|2[0-3]):[0-5][0-9])$`
	DayPattern      = `^(mon|tue|wed|thu|fri|sat|sun)$`
	TierPattern     = `^[1-3]$`
	PriorityPattern = `^(low|medium|high)$`
)

var clockWord = regexp.MustCompile(ClockPattern)

// Clock is a time of day to the minute, as 07:30.
type Clock time.Duration

// UnmarshalText reads two digits, a colon and two digits.
func (c *Clock) UnmarshalText(b []byte) error {
	if !clockWord.Match(b) {
		return fmt.Errorf("is %q: give %s", clip(b), c.Wanted())
	}
	h, _ := strconv.Atoi(string(b[:2])) // digits, see the pattern
	m, _ := strconv.Atoi(string(b[3:]))
	*c = Clock(time.Duration(h)*time.Hour + time.Duration(m)*time.Minute)
	return nil
}

// Wanted says what a Clock looks like.
func (Clock) Wanted() string { return "a time of day such as 07:00" }

// Daily is a time of day, or never, which is below 0.
type Daily time.Duration

// UnmarshalText reads a Clock or never.
func (d *Daily) UnmarshalText(b []byte) error {
	if string(b) == "never" {
		*d = -1
		return nil
	}
	if (*Clock)(d).UnmarshalText(b) != nil {
		return fmt.Errorf("is %q: give %s", clip(b), d.Wanted())
	}
	return nil
}

// Wanted says what a Daily looks like.
func (Daily) Wanted() string { return "a time of day such as 08:00, or never" }

// Day is a day of the week.
type Day time.Weekday

var dayNames = []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

// UnmarshalText reads mon to sun.
func (d *Day) UnmarshalText(b []byte) error {
	i := slices.Index(dayNames, string(b))
	if i < 0 {
		return fmt.Errorf("is %q: give %s", clip(b), d.Wanted())
	}
	*d = Day(i)
	return nil
}

// Wanted says what a Day looks like.
func (Day) Wanted() string { return "a day such as mon" }

// Tier is a tier of receivers.
type Tier int

// UnmarshalText reads 1, 2 or 3.
func (t *Tier) UnmarshalText(b []byte) error {
	n, err := strconv.Atoi(string(b))
	if err != nil || n < 1 || n > 3 {
		return fmt.Errorf("is %q: give %s", clip(b), t.Wanted())
	}
	*t = Tier(n)
	return nil
}

// Wanted says what a Tier looks like.
func (Tier) Wanted() string { return "a tier from 1 to 3" }

// Priority is one of the priorities of alerts.
type Priority string

// UnmarshalText reads low, medium or high.
func (p *Priority) UnmarshalText(b []byte) error {
	if !slices.Contains([]string{"low", "medium", "high"}, string(b)) {
		return fmt.Errorf("is %q: give %s", clip(b), p.Wanted())
	}
	*p = Priority(b)
	return nil
}

// Wanted says what a Priority looks like.
func (Priority) Wanted() string { return "low, medium or high" }
