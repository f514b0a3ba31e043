package selfwatch

import (
	"fmt"
	"math"
	"time"

	"weald/rules/alert"
)

// A Kind is one thing that can be wrong with a daemon.
type Kind struct {
	ID    string // names it in the configuration and in the record
	Unit  string // of its number and of its limit
	Above bool   // it is wrong above the limit; else below

	// Back is the deadband: by how much the number must be back within the limit.
	Back float64

	// Unfit says that a daemon of which this is so cannot do its job.
	Unfit bool

	Default Setting // why, config/figures says

	says func(v, limit float64) string // what is wrong, why it matters, what to do
	over string                        // once it is not wrong any more
}

// A Setting is what a configuration says of a kind.
type Setting struct {
	Limit    float64
	After    time.Duration // for how long it must be beyond the limit
	Priority alert.Priority
	Off      bool // it is not looked at
}

// The ids of kinds.
const (
	Silence     = "silence"
	Loop        = "loop"
	Disk        = "disk"
	ClockStep   = "clock_step"
	ClockError  = "clock_error"
	Behind      = "behind"
	Memory      = "memory"
	Certificate = "certificate"
	Heartbeat   = "heartbeat"
	Log         = "log"
)

// Settles is for how long a number must be back before it is over: what comes and goes
// within that is one alert.
const Settles = time.Minute

// Kinds are all kinds, in the order in which people are shown them.
var Kinds = []Kind{
	{
		ID: Silence, Unit: "s", Above: true, Unfit: true,
		Default: Setting{Limit: 300, Priority: alert.High},
		says: func(v, _ float64) string {
			return fmt.Sprintf("nothing has arrived from any bridge for %s, so that nothing is watched: see Setup for what each bridge says, and whether the network or the power is gone", span(v))
		},
		over: "readings arrive again",
	}, {
		ID: Loop, Unit: "s", Above: true, Unfit: true,
		Default: Setting{Limit: 20, Priority: alert.High},
		says: func(v, _ float64) string {
			return fmt.Sprintf("the loop that judges has not turned for %s, so that nothing is watched: start weald again unless systemd does, and keep the log", span(v))
		},
		over: "the loop that judges turns again",
	}, {
		ID: Disk, Unit: "GB", Back: 0.2,
		Default: Setting{Limit: 2, After: time.Minute, Priority: alert.Medium},
		says: func(v, limit float64) string {
			return fmt.Sprintf("only %.1f GB are free where the record is, less than %g: make room, or let keep: of the configuration delete what is old; when nothing is left readings are not kept", v, limit)
		},
		over: "there is room on the disk again",
	}, {
		ID: ClockStep, Unit: "s", Above: true, Unfit: true,
		Default: Setting{Limit: 2, After: 10 * time.Second, Priority: alert.Medium},
		says: func(v, _ float64) string {
			return fmt.Sprintf("the host's clock was set since the start, so that times of day are off by %s: start weald again when it suits, and find out who sets the clock", span(v))
		},
		over: "the host's clock agrees with the daemon's again",
	}, {
		ID: ClockError, Unit: "s", Above: true, Back: 1,
		Default: Setting{Limit: 4, After: 10 * time.Minute, Priority: alert.Low},
		says: func(v, _ float64) string {
			return fmt.Sprintf("no time server has set the host's clock for long, which may be wrong by %s: see whether one is configured and reached, such as by timedatectl", span(v))
		},
		over: "a time server keeps the host's clock again",
	}, {
		ID: Behind, Unit: "s", Above: true, Unfit: true,
		Default: Setting{Limit: 1, After: 30 * time.Second, Priority: alert.High},
		says: func(v, _ float64) string {
			return fmt.Sprintf("the rules have fallen behind: readings wait for %s before they are judged, so that alerts come late. See what else runs on this machine; fewer sources or a faster machine help", span(v))
		},
		over: "the rules keep up again",
	}, {
		ID: Memory, Unit: "%", Back: 2,
		Default: Setting{Limit: 10, After: time.Minute, Priority: alert.Medium},
		says: func(v, limit float64) string {
			return fmt.Sprintf("only %.0f %% of the memory is free, less than %g: the system may end weald to find room. See what else runs on this machine, or give it more", v, limit)
		},
		over: "there is memory again",
	}, {
		ID: Certificate, Unit: "d", Back: 0.5,
		Default: Setting{Limit: 21, Priority: alert.Medium},
		says: func(v, _ float64) string {
			if v <= 0 {
				return "the certificate of the pages has expired, so that browsers refuse them: give a new one, by weald tls or by whoever makes certificates"
			}
			return fmt.Sprintf("the certificate of the pages ends in %.0f days; browsers will refuse the pages then: give a new one, by weald tls or by whoever makes certificates", math.Floor(v))
		},
		over: "the certificate of the pages is new",
	}, {
		ID: Heartbeat, Unit: "beats", Above: true,
		Default: Setting{Limit: 3, Priority: alert.Medium},
		says: func(v, _ float64) string {
			return fmt.Sprintf("%.0f beats of the heartbeat were not taken, so that whoever waits for them must think that weald is gone: see Setup for why, and whether the way there is open", math.Floor(v))
		},
		over: "the heartbeat is taken again",
	}, {
		ID: Log, Unit: "s", Above: true, Unfit: true,
		Default: Setting{Limit: 15, Priority: alert.High},
		says: func(v, _ float64) string {
			return fmt.Sprintf("readings that other machines take have not been judged for %s, as they do not come through the log or wait there, so that alerts come late: see /readyz for which it is, whether a majority of the servers of the log runs, and whether the machines reach them", span(v))
		},
		over: "readings of other machines are judged as they come again",
	},
}

// Index returns which of Kinds has an id; -1 for none.
func Index(id string) int {
	for i := range Kinds {
		if Kinds[i].ID == id {
			return i
		}
	}
	return -1
}

// Defaults returns the settings where a configuration is silent, in the order of Kinds.
func Defaults() []Setting {
	out := make([]Setting, len(Kinds))
	for i := range Kinds {
		out[i] = Kinds[i].Default
	}
	return out
}

// span says so many seconds for people.
func span(seconds float64) string {
	d := time.Duration(seconds * float64(time.Second))
	switch {
	case d < 10*time.Second:
		return fmt.Sprintf("%.1f s", seconds)
	case d < 2*time.Minute:
		return fmt.Sprintf("%.0f s", seconds)
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.0f h", d.Hours())
}
