package frame

import (
	"time"

	"weald/ingest/sample"
)

// parseRFC3339 reads a time of RFC 3339: a full date, "T", "t" or a blank, a
// time with any number of decimals, and an offset. Decimals beyond the
// nanosecond are dropped.
//
// A leap second, 23:59:60 UTC at the end of a month, is accepted and all of it
// is the first instant of the second that follows: a count of seconds since
// 1970 has no room for it, and so times that rise still do not fall.
func parseRFC3339(b []byte) (sample.Instant, bool) {
	const shortest = len("2006-01-02T15:04:05Z")
	if len(b) < shortest || b[4] != '-' || b[7] != '-' || b[13] != ':' || b[16] != ':' ||
		(b[10] != 'T' && b[10] != 't' && b[10] != ' ') {
		return 0, false
	}
	century, ok0 := twoDigits(b, 0, 99)
	year, ok1 := twoDigits(b, 2, 99)
	month, ok2 := twoDigits(b, 5, 12)
	day, ok3 := twoDigits(b, 8, 31)
	hour, ok4 := twoDigits(b, 11, 23)
	minute, ok5 := twoDigits(b, 14, 59)
	second, ok6 := twoDigits(b, 17, 60)
	if !(ok0 && ok1 && ok2 && ok3 && ok4 && ok5 && ok6) {
		return 0, false
	}
	rest := b[19:]
	nanos := 0
	if rest[0] == '.' {
		i, unit := 1, int(time.Second)
		for ; i < len(rest) && '0' <= rest[i] && rest[i] <= '9'; i++ {
			unit /= 10
			nanos += unit * int(rest[i]-'0')
		}
		if i == 1 {
			return 0, false
		}
		rest = rest[i:]
	}
	offset, ok := parseOffset(rest)
	if !ok {
		return 0, false
	}
	year += century * 100
	leap := second == 60
	if leap {
		second, nanos = 59, 0
	}
	t := time.Date(year, time.Month(month), day, hour, minute, second, nanos, time.UTC)
	if t.Day() != day || month == 0 {
		return 0, false // the 31st of a shorter month, or a zero
	}
	t = t.Add(-offset)
	if leap {
		t = t.Add(time.Second)
		if t.Day() != 1 || t.Hour() != 0 || t.Minute() != 0 || t.Second() != 0 {
			return 0, false
		}
	}
	return instant(t)
}

// parseOffset reads "Z" or an offset such as "+01:00", which must be all of b.
func parseOffset(b []byte) (time.Duration, bool) {
	if len(b) == 1 {
		return 0, b[0] == 'Z' || b[0] == 'z'
	}
	if len(b) != len("+01:00") || b[3] != ':' || (b[0] != '+' && b[0] != '-') {
		return 0, false
	}
	hours, ok1 := twoDigits(b, 1, 23)
	minutes, ok2 := twoDigits(b, 4, 59)
	d := time.Duration(hours)*time.Hour + time.Duration(minutes)*time.Minute
	if b[0] == '-' {
		d = -d
	}
	return d, ok1 && ok2
}

// twoDigits reads the two digits at b[i:], whose value may be up to top.
func twoDigits(b []byte, i, top int) (int, bool) {
	hi, lo := int(b[i])-'0', int(b[i+1])-'0'
	if hi < 0 || hi > 9 || lo < 0 || lo > 9 {
		return 0, false
	}
	v := hi*10 + lo
	return v, v <= top
}

// instant converts t, or returns false where an Instant cannot hold it: before
// 1678 and after 2261.
func instant(t time.Time) (sample.Instant, bool) {
	if y := t.Year(); y < 1678 || y > 2261 {
		return 0, false
	}
	return sample.At(t), true
}
