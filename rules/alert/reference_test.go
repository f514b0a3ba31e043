package alert_test

import (
	"fmt"
	"time"

	"weald/rules/alert"
)

// An input of the reference, at a whole second.
type input struct {
	at   int
	what string // "raise", "clear", "empty", "occupied", or a verb
	who  string
	mins int // of a shelf
}

// reference judges an alert's life the slow way: second by second, it asks the
// whole past afresh. It shares no code with Life. It returns what is told, one
// line each: the second, the change, the state after it, the tier.
func reference(inputs []input, latched bool, escalate, seconds int) (told []string) {
	var (
		raises    []int // every raise of the hold
		holding   bool
		toldRaise = -1             // the second of the newest raise that was told
		standing  bool             // it has been told as raised, and not as cleared
		answered  = map[int]bool{} // raises that somebody acknowledged, or that need nobody
		chatters  bool
		empty     bool
		out       string
		shelf     string
		shelfEnd  int
		calls     int
		called    = -1 // since when somebody has been called without a break
	)
	state := func() string {
		owed := toldRaise >= 0 && !answered[toldRaise]
		if out != "" {
			return "out-of-service"
		}
		if empty {
			return "suppressed"
		}
		if shelf != "" {
			return "shelved"
		}
		if standing {
			if owed {
				return "unacknowledged"
			}
			return "acknowledged"
		}
		if owed {
			if latched {
				return "latched"
			}
			return "returned-unacknowledged"
		}
		return "normal"
	}
	tier := func() int { // how many calls have been told since somebody is called
		if called < 0 {
			return 0
		}
		return 1 + calls
	}
	quiet := ""
	say := func(now int, what string) {
		s := state()
		if s == "unacknowledged" || s == "latched" {
			if called < 0 {
				called, calls = now, 0
			}
		} else {
			called = -1
		}
		told = append(told, fmt.Sprintf("%d %s %s %d %t %t%s", now, what, s, tier(), chatters, standing, quiet))
	}
	quietly := func(now int, what string) {
		quiet = " quiet"
		say(now, what)
		quiet = ""
	}
	end := func(now int, what string) {
		standing = false
		if s := state(); !latched && (s == "out-of-service" || s == "suppressed" || s == "shelved") {
			answered[toldRaise] = true
		}
		say(now, what)
	}
	for now := 0; now <= seconds; now++ {
		if shelf != "" && now == shelfEnd {
			shelf = ""
			say(now, "shelf-ended")
		}
		if chatters && now == raises[len(raises)-1]+600 {
			chatters = false
			if holding {
				say(now, "calm")
			} else {
				end(now, "calm")
			}
		}
		if called >= 0 && escalate > 0 && now > called && (now-called)%escalate == 0 && (now-called)/escalate < 3 {
			calls++
			say(now, "escalated")
		}
		for _, in := range inputs {
			if in.at != now {
				continue
			}
			switch in.what {
			case "raise":
				holding = true
				raises = append(raises, now)
				if chatters {
					quietly(now, "raised")
					continue
				}
				within := 0
				for _, r := range raises {
					if now-r <= 600 {
						within++
					}
				}
				chatters = within > 3
				toldRaise, standing = now, true
				delete(answered, now)
				say(now, "raised")
			case "clear":
				holding = false
				if chatters {
					quietly(now, "cleared")
				} else {
					end(now, "cleared")
				}
			case "empty", "occupied":
				if empty != (in.what == "empty") {
					empty = !empty
					say(now, map[bool]string{true: "suppressed", false: "unsuppressed"}[empty])
				}
			case "acknowledge":
				if s := state(); s == "unacknowledged" || s == "latched" || s == "returned-unacknowledged" {
					answered[toldRaise] = true
					say(now, "acknowledged")
				}
			case "shelve":
				if out == "" && in.mins > 0 && in.mins <= 480 {
					shelf, shelfEnd = in.who, now+60*in.mins
					say(now, "shelved")
				}
			case "unshelve":
				if shelf != "" {
					shelf = ""
					say(now, "unshelved")
				}
			case "out-of-service":
				if out == "" {
					out, shelf = in.who, ""
					say(now, "out-of-service")
				}
			case "in-service":
				if out != "" {
					out = ""
					say(now, "in-service")
				}
			}
		}
	}
	return told
}

// lived is what a Life tells of the same.
func lived(inputs []input, spec *alert.Spec, seconds int, look func(*alert.Life)) (told []string) {
	var l alert.Life
	say := func(events []alert.Event) {
		for _, e := range events {
			quiet := ""
			if e.Quiet {
				quiet = " quiet"
			}
			told = append(told, fmt.Sprintf("%d %s %s %d %t %t%s", int(e.At)/int(time.Second), e.What, e.State, e.Tier, e.Chattering, e.Stands, quiet))
		}
		look(&l)
	}
	pass := func(to int) {
		for l.Next(spec) <= second(to) {
			say(l.Tick(spec, alert.Event{}, second(to), nil))
		}
	}
	for _, in := range inputs {
		at := second(in.at)
		pass(in.at)
		switch in.what {
		case "raise":
			say(l.Hold(spec, alert.Event{What: alert.Raised, At: at}, nil))
		case "clear":
			say(l.Hold(spec, alert.Event{What: alert.Cleared, At: at}, nil))
		case "empty", "occupied":
			say(l.Suppress(spec, alert.Event{}, in.what == "empty", at, nil))
		default:
			a := alert.Action{Verb: alert.Verb(in.what), At: at, Who: in.who, Why: "a reason", Until: at.Add(time.Duration(in.mins) * time.Minute)}
			events, _ := l.Act(spec, alert.Event{}, &a, nil) // a refusal tells nothing, as in the reference
			say(events)
		}
	}
	pass(seconds)
	return told
}
