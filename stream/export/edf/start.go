package edf

import (
	"fmt"
	"strings"
	"time"
)

// start returns when the file begins. Two digits of a year are those of 1985 to
// 2084; the full date of the recording field, where there is one that agrees,
// says what they cannot.
func (p *parser) start(date, clock string) time.Time {
	full, hasFull := p.fullDate()
	var day time.Time
	if d, m, ok := dayAndMonth(date); ok && hasFull && full.Day() == d && int(full.Month()) == m {
		day = full
	} else if t, err := time.Parse("02.01.06", date); err == nil {
		// The window of two digits in Go is another one: 1969 to 2068.
		year := 2000 + t.Year()%100
		if year > lastYear {
			year -= 100
		}
		day = time.Date(year, t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
	} else {
		p.departs("start date", fmt.Sprintf("%q is not dd.mm.yy", date))
		return time.Time{}
	}
	if hasFull && dateField(full) != date || !hasFull && p.r.h.Kind != Plain {
		p.departs("recording", fmt.Sprintf("%q does not repeat the start date %s", p.r.h.Recording, date))
	}
	t, err := time.Parse("15.04.05", clock)
	if err != nil {
		p.departs("start time", fmt.Sprintf("%q is not hh.mm.ss", clock))
		return day
	}
	return day.Add(t.Sub(t.Truncate(24 * time.Hour)))
}

// dayAndMonth takes them from a date whose year may be "yy".
func dayAndMonth(date string) (day, month int, ok bool) {
	if len(date) != 8 {
		return 0, 0, false
	}
	t, err := time.Parse("02.01.2006", date[:6]+"2000") // a leap year, so that every day exists
	return t.Day(), int(t.Month()), err == nil
}

// fullDate takes the date with four digits of the year from the recording field.
func (p *parser) fullDate() (time.Time, bool) {
	f := strings.Fields(p.r.h.Recording)
	if len(f) < 2 || f[0] != "Startdate" || len(f[1]) != 11 {
		return time.Time{}, false
	}
	month := f[1][3:6]
	t, err := time.Parse("02-Jan-2006", f[1][:3]+month[:1]+strings.ToLower(month[1:])+f[1][6:])
	return t, err == nil
}
