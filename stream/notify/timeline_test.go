package notify

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/record"
)

var weekdays = []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

// A script is a timeline that is written down as text, one line for each thing; a #
// begins a comment:
//
//	zone Europe/Berlin        # else UTC
//	begin 2026-03-28          # its midnight; else 2026-03-01
//	escalate_after 10m, latched
//	sender ID tiers 1,2 days mon,tue from 07:00 to 21:00 no-follow-ups test 08:00
//	sun 08:00 raise bed-4     # clear, empty, occupied, or what a person does
//	= sun 08:00 desk call bed-4
//	until mon 12:00
type script struct {
	spec  alert.Spec
	zone  *time.Location
	begin time.Time
	specs []Spec
	acts  []act
	want  []string
	until time.Time
}

type act struct {
	at    time.Time
	words []string
}

// moment reads a day and a time of day, which is after the beginning.
func (s *script) moment(day, clock string) time.Time {
	y, m, d := s.begin.Date()
	ahead := (slices.Index(weekdays, day) - int(s.begin.Weekday()) + 7) % 7
	hm, err := time.Parse("15:04", clock)
	if err != nil || !slices.Contains(weekdays, day) {
		panic(day + " " + clock)
	}
	return time.Date(y, m, d+ahead, hm.Hour(), hm.Minute(), 0, 0, s.zone)
}

func parse(text string) *script {
	s := &script{zone: time.UTC, begin: midnight}
	for line := range strings.Lines(text) {
		line, _, _ = strings.Cut(line, "#")
		w := strings.Fields(line)
		switch {
		case len(w) == 0:
		case w[0] == "zone":
			zone, err := time.LoadLocation(w[1])
			if err != nil {
				panic(err)
			}
			s.zone = zone
		case w[0] == "begin":
			begin, err := time.ParseInLocation(time.DateOnly, w[1], s.zone)
			if err != nil {
				panic(err)
			}
			s.begin = begin
		case w[0] == "escalate_after":
			s.spec.EscalateAfter, _ = time.ParseDuration(w[1])
		case w[0] == "latched":
			s.spec.Latched = true
		case w[0] == "sender":
			s.sender(w[1:])
		case w[0] == "until":
			s.until = s.moment(w[1], w[2])
		case w[0] == "=":
			s.want = append(s.want, strings.Join(w[1:], " "))
			s.until = s.moment(w[1], w[2])
		default:
			s.until = s.moment(w[0], w[1])
			s.acts = append(s.acts, act{s.until, w[2:]})
		}
	}
	return s
}

func (s *script) sender(w []string) {
	i := slices.IndexFunc(s.specs, func(o Spec) bool { return o.ID == w[0] })
	if i < 0 {
		i = len(s.specs)
		s.specs = append(s.specs, Spec{ID: w[0], FollowUps: true, TestAt: -1, GiveUp: time.Hour, Most: 100})
	}
	clock := func(text string) time.Duration {
		t, err := time.Parse("15:04", text)
		if err != nil {
			panic(err)
		}
		return time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute
	}
	var window Window
	has := false
	for k := 1; k < len(w); k++ {
		switch w[k] {
		case "no-follow-ups":
			s.specs[i].FollowUps = false
			continue
		case "test":
			s.specs[i].TestAt = clock(w[k+1])
		case "tiers":
			for t := range strings.SplitSeq(w[k+1], ",") {
				window.Tiers = append(window.Tiers, int(t[0]-'0'))
			}
		case "days":
			for d := range strings.SplitSeq(w[k+1], ",") {
				window.Days = append(window.Days, time.Weekday(slices.Index(weekdays, d)))
			}
		case "from":
			window.From = clock(w[k+1])
		case "to":
			window.To = clock(w[k+1])
		default:
			panic(w[k])
		}
		has = has || w[k] != "test"
		k++
	}
	if has {
		s.specs[i].Windows = append(s.specs[i].Windows, window)
	}
}

// play returns what is queued, minute by minute.
func (s *script) play(t *testing.T) (got []string) {
	d := NewDesk(s.specs, s.zone, sample.At(s.begin))
	lives := map[string]*alert.Life{}
	var places []string
	p := record.Position(0)
	for now := s.begin; !now.After(s.until); now = now.Add(time.Minute) {
		at := sample.At(now)
		note := func(notices []record.Notice) {
			for _, n := range notices {
				if n.What == Queued {
					line := now.In(s.zone).Format("15:04 ") + n.Sender + " " + n.About
					if n.Event != nil {
						line += " " + n.Event.Place
					}
					got = append(got, weekdays[now.In(s.zone).Weekday()]+" "+line)
				}
			}
		}
		change := func(events []alert.Event) {
			for i := range events {
				p++
				note(d.Change(p, &events[i], at))
			}
		}
		base := func(place string) alert.Event {
			return alert.Event{At: at, Key: alert.Key{Place: place, Rule: "turn-due", Subject: "bed"}, Priority: alert.High}
		}
		for _, place := range places {
			for lives[place].Next(&s.spec) <= at {
				change(lives[place].Tick(&s.spec, base(place), at, nil))
			}
		}
		for len(s.acts) > 0 && !s.acts[0].at.After(now) {
			w := s.acts[0].words
			s.acts = s.acts[1:]
			if lives[w[1]] == nil {
				lives[w[1]] = &alert.Life{}
				places = append(places, w[1])
			}
			life, e := lives[w[1]], base(w[1])
			switch w[0] {
			case "raise", "clear":
				e.What = map[string]alert.Change{"raise": alert.Raised, "clear": alert.Cleared}[w[0]]
				change(life.Hold(&s.spec, e, nil))
			case "empty", "occupied":
				change(life.Suppress(&s.spec, e, w[0] == "empty", at, nil))
			default:
				a := alert.Action{Verb: alert.Verb(w[0]), At: at, Who: "K-07", Why: "bath"}
				if a.Verb == alert.Shelve {
					lasting, err := time.ParseDuration(w[2])
					if err != nil {
						t.Fatal(err)
					}
					a.Until = at.Add(lasting)
				}
				events, err := life.Act(&s.spec, e, &a, nil)
				if err != nil {
					t.Fatalf("%v: %v", w, err)
				}
				change(events)
			}
		}
		note(d.Due(at))
	}
	return got
}

func TestTimelines(t *testing.T) {
	files, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(files) < 4 {
		t.Fatalf("%d timelines: %v", len(files), err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			s := parse(string(text))
			if got := s.play(t); !slices.Equal(got, s.want) {
				t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(s.want, "\n"))
			}
		})
	}
}
