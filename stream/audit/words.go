package audit

import (
	"fmt"
	"strconv"
	"strings"

	"weald/stream/record"
)

func count(n uint64) string { return strconv.FormatUint(n, 10) }

func channel(bridge, source string, n int) string {
	return bridge + "/" + source + "/" + strconv.Itoa(n)
}

// Sentence says in English what a link tells, without when it was.
func Sentence(e *record.Entry) string {
	a := e.Body.(record.Audit)
	at, with, of := "", "", ""
	if e.Place != "" {
		at = " at " + e.Place
	}
	if a.Subject != "" {
		with = " " + a.Subject
	}
	if p := Plain(a.Person); p != "" {
		of = " of " + p
	}
	text := Plain(a.Text)
	who := Plain(a.Who)
	if who == "" {
		who = "somebody"
	}
	said := func(format string, args ...any) string {
		s := fmt.Sprintf(format, args...)
		if text != "" {
			s += ": " + text
		}
		return s
	}
	switch a.What {
	case Alerts:
		if n := len(a.Covers); n > 1 {
			return said("weald kept %d changes of alerts%s", n, at)
		}
		return said("weald kept a change of an alert%s", at)
	case Configured:
		if Plain(a.Who) != "" {
			return said("%s put configuration%s into force", who, with)
		}
		return said("configuration%s came into force", with)
	case Deleted:
		return said("weald deleted entries (%s) up to entry %d, as keep: asks", a.Subject, a.Through)
	case Unseen:
		return said("weald did not note%s looks, which came too fast or found no room", with)
	case Erased:
		return said("%s had the data of one person erased, %d entries", who, len(a.Covers))
	case Viewed:
		if e.Place == "" {
			return said("%s looked at%s%s", who, with, of)
		}
		return said("%s looked at %s%s%s", who, e.Place, with, of)
	case Exported:
		return said("%s exported%s%s%s", who, with, at, of)
	case Reported:
		return said("%s had a report made:%s%s%s", who, with, at, of)
	case BackedUp:
		return said("%s had the record copied", who)
	case Tested:
		return said("%s had a test sent by%s", who, with)
	case Logged:
		return said("%s:%s", who, with)
	case Rehearsed:
		return said("%s asked for%s", who, with)
	case Refused:
		return said("%s was refused:%s%s%s", who, with, at, of)
	}
	if done, ok := acts[a.What]; ok {
		return said("%s %s%s%s%s", who, done, with, of, at)
	}
	return said("%s: %s%s%s%s", who, strings.ReplaceAll(a.What, "-", " "), with, of, at)
}

// acts are the words for what people do that the record has entries of.
var acts = map[string]string{
	"acknowledge":         "acknowledged",
	"shelve":              "shelved",
	"unshelve":            "took back the shelving of",
	"out-of-service":      "took out of service",
	"in-service":          "took into service again",
	"mark":                "made a mark",
	"proposed":            "proposed a change of",
	"seat-link-made":      "made",
	"seat-link-withdrawn": "withdrew",
	"session-begun":       "began session",
	"session-ended":       "ended session",
	"session-noted":       "wrote a note on session",
	"attempt-begun":       "began try",
	"attempt-read":        "read a step of try",
	"attempt-ended":       "ended try",
	"attempt-left":        "left try",
	"calibrate":           "calibrated",
	"calibration-refused": "tried in vain to calibrate",
	"check":               "checked calibration",
	"zero":                "zeroed",
	"zero-undone":         "took back the zeroing of",
}

// Plain returns a sealed text, or that it has been taken away.
func Plain(s record.Sealed) string {
	if s.Gone {
		return "(erased)"
	}
	return s.Text
}
