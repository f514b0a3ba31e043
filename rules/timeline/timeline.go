// Package timeline runs a rule over readings that are written down as text, so
// that a nurse or a physicist can review what the rule does.
//
// A timeline is lines; # starts a comment:
//
//	limit above 32 deadband 2     # or: below 20, outside 15 25
//	on_delay 30s                  # also off_delay, resets_after, forget_after
//	stale_after 3s                # how long a reading lasts; 3 s unless said
//	every 1s                      # distance of readings in a range; 1 s unless said
//	0s..40s 40                    # readings of 40 mmHg at 0, 1, … 40 s
//	41s     -                     # a reading that is missing
//	45s     33
//	latched                       # the alert is shown until it is acknowledged
//	escalate_after 5m             # how long it may be unacknowledged
//	act 50s acknowledge K-07      # what a person does; also unshelve, in-service
//	act 55s shelve K-07 20m bath  # for how long, and why; also out-of-service K-07 why
//	= raised 30s                  # what must happen, in order, and nothing else
//
// What must happen is what people are told: an alert that chatters is told once.
// An act comes after the reading of the same instant. The run ends at the last
// reading.
package timeline

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
)

// A Script is a parsed timeline.
type Script struct {
	Rule       rules.Rule
	StaleAfter time.Duration
	Readings   []Reading
	Acts       []alert.Action
	Want       []Happening
}

// A Reading is one value in mmHg at one instant; NaN is a missing one.
type Reading struct {
	At    sample.Instant
	Value float64
}

// A Happening is one change of the alert.
type Happening struct {
	What alert.Change
	At   time.Duration // since the zero of the script
}

// String writes a happening as a script does.
func (h Happening) String() string { return fmt.Sprintf("%s %s", h.What, h.At) }

// told is what can happen to an alert of a script, which judges nobody absent.
var told = []alert.Change{
	alert.Raised, alert.Cleared, alert.Unknown, alert.Known, alert.Ended, alert.Escalated, alert.Calmed,
	alert.WasAcknowledged, alert.WasShelved, alert.WasUnshelved, alert.WentOut, alert.CameBack,
}

// Parse reads a script. Errors name the line.
func Parse(r io.Reader) (*Script, error) {
	s := &Script{
		StaleAfter: 3 * time.Second,
		Rule:       rules.Rule{ID: "rule", ForgetAfter: rules.DefaultForgetAfter, Priority: alert.Low},
	}
	every := time.Second
	lines := bufio.NewScanner(r)
	for n := 1; lines.Scan(); n++ {
		text, _, _ := strings.Cut(lines.Text(), "#")
		words := strings.Fields(text)
		if len(words) == 0 {
			continue
		}
		if err := s.line(words, &every); err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
	}
	if s.Rule.Limit == nil {
		return nil, fmt.Errorf("no limit is given")
	}
	return s, lines.Err()
}

func (s *Script) line(words []string, every *time.Duration) error {
	durations := map[string]*time.Duration{
		"on_delay": &s.Rule.OnDelay, "off_delay": &s.Rule.OffDelay, "resets_after": &s.Rule.ResetsAfter,
		"forget_after": &s.Rule.ForgetAfter, "stale_after": &s.StaleAfter, "every": every,
		"escalate_after": &s.Rule.EscalateAfter,
	}
	var err error
	switch d, ok := durations[words[0]]; {
	case ok && len(words) == 2:
		*d, err = time.ParseDuration(words[1])
		switch {
		case err != nil:
			return err
		case *d < 0 || *d == 0 && (words[0] == "every" || words[0] == "stale_after"):
			return fmt.Errorf("%s: %s is too short", words[0], words[1])
		}
		return nil
	case words[0] == "latched" && len(words) == 1:
		s.Rule.Latched = true
		return nil
	case words[0] == "act" && len(words) >= 4:
		return s.act(words[1:])
	case words[0] == "limit":
		s.Rule.Limit, err = parseLimit(words[1:])
		return err
	case words[0] == "=" && len(words) == 3:
		at, err := time.ParseDuration(words[2])
		if err == nil && !slices.Contains(told, alert.Change(words[1])) {
			err = fmt.Errorf("%q is nothing that happens to an alert", words[1])
		}
		s.Want = append(s.Want, Happening{alert.Change(words[1]), at})
		return err
	case len(words) == 2:
		return s.readings(words[0], words[1], *every)
	}
	return fmt.Errorf("%q is not understood", strings.Join(words, " "))
}

// act reads "50s acknowledge K-07 why" and "50s shelve K-07 20m why".
func (s *Script) act(words []string) error {
	at, err := time.ParseDuration(words[0])
	a := alert.Action{At: sample.Instant(at), Verb: alert.Verb(words[1]), Who: words[2]}
	rest := words[3:]
	if a.Verb == alert.Shelve && len(rest) > 0 && err == nil {
		var lasting time.Duration
		lasting, err = time.ParseDuration(rest[0])
		a.Until, rest = a.At.Add(lasting), rest[1:]
	}
	a.Why = strings.Join(rest, " ")
	if err == nil {
		err = a.Check()
	}
	s.Acts = append(s.Acts, a)
	return err
}

func parseLimit(words []string) (*rules.Limit, error) {
	l := &rules.Limit{Watch: "site.pressure"}
	for len(words) > 0 {
		var numbers []float64
		i := 1
		for ; i < len(words); i++ {
			v, err := strconv.ParseFloat(words[i], 64)
			if err != nil {
				break
			}
			numbers = append(numbers, v)
		}
		switch {
		case words[0] == "above" && len(numbers) == 1:
			l.Above = &numbers[0]
		case words[0] == "below" && len(numbers) == 1:
			l.Below = &numbers[0]
		case words[0] == "outside" && len(numbers) == 2:
			l.Outside = &[2]float64{numbers[0], numbers[1]}
		case words[0] == "deadband" && len(numbers) == 1:
			l.Deadband = numbers[0]
		default:
			return nil, fmt.Errorf("limit: %q is not understood", strings.Join(words, " "))
		}
		words = words[i:]
	}
	return l, nil
}

func (s *Script) readings(when, what string, every time.Duration) error {
	value := sample.Unknown
	var err error
	if what != "-" {
		if value, err = strconv.ParseFloat(what, 64); err != nil {
			return err
		}
	}
	first, last, isRange := strings.Cut(when, "..")
	if !isRange {
		last = first
	}
	from, err := time.ParseDuration(first)
	if err != nil {
		return err
	}
	to, err := time.ParseDuration(last)
	if err != nil {
		return err
	}
	if to < from {
		return fmt.Errorf("%s ends before it begins", when)
	}
	for at := from; at <= to; at += every {
		s.Readings = append(s.Readings, Reading{sample.Instant(at), value})
	}
	return nil
}

// Run judges the readings and returns what happened.
func (s *Script) Run() []Happening {
	plan := &rules.Plan{
		Sources: []rules.Source{{ID: "bridge/source", Channels: 1, StaleAfter: s.StaleAfter, Calibrated: true}},
		Places:  []rules.Place{{ID: "place", Kind: rules.Wrap, Sites: []rules.Site{{ID: "site", Channels: []rules.Channel{{}}}}}},
		Rules:   []rules.Rule{s.Rule},
	}
	var got recorder
	e := rules.NewEngine(plan, &got)
	acts := s.Acts
	key := alert.Key{Place: "place", Rule: s.Rule.ID, Subject: "site"}
	act := func(until sample.Instant) {
		for len(acts) > 0 && acts[0].At < until {
			// What is refused happens to nobody, which the script must say.
			_ = e.Act(0, key, acts[0])
			acts = acts[1:]
		}
	}
	for _, r := range s.Readings {
		act(r.At)
		e.Scan(&sample.Scan{At: r.At, Arrived: r.At, Values: []float64{r.Value}})
	}
	act(sample.Never)
	e.Finish()
	return got
}

// A recorder keeps what happened.
type recorder []Happening

func (r *recorder) Alert(e alert.Event) {
	if e.Quiet {
		return
	}
	*r = append(*r, Happening{e.What, time.Duration(e.At)})
}
func (*recorder) Updated(int, sample.Instant) {}
func (*recorder) Late(int, *sample.Scan)      {}
