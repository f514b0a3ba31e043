package report

import (
	"fmt"
	"math"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/rules/relief"
	"weald/stream/report/paper"
	"weald/stream/report/tally"
)

// seat is how somebody sat.
type seat struct {
	x        *stretch
	occupied *condition
	since    int
	longest  tally.Mean // of the seconds seated with nothing that counts
	counts   [relief.Transfer]*counted
}

// counted is what was counted, and when each was.
type counted struct {
	name  string
	index int
	tally.Counter
	at []sample.Instant
}

var reliefSignals = [relief.Transfer]struct{ name, signal string }{
	{"weight shifts", "relief.shifts"}, {"pressure reliefs", "relief.reliefs"}, {"transfers", "relief.transfers"},
}

func (x *stretch) seat() (part, bool) {
	s := &seat{x: x, occupied: x.condition("seated", "occupied"), since: x.follower.Follow("relief.since")}
	for i, r := range reliefSignals {
		s.counts[i] = &counted{name: r.name, index: x.follower.Follow(r.signal)}
	}
	x.readers = append(x.readers, s.take)
	return s, true
}

func (s *seat) take(p *tally.Piece) {
	s.longest.Add(p.Values[s.since], p.Span())
	for _, c := range s.counts {
		for range c.Add(p.Values[c.index]) {
			c.at = append(c.at, p.From)
		}
	}
}

// sitting is how long the longest stretch with nothing that counts was.
func sitting(longest *tally.Mean) string {
	if longest.Known == 0 {
		return paper.NotKnown
	}
	return paper.Lasting(time.Duration(math.Floor(longest.High())) * time.Second)
}

func (s *seat) known() bool { return s.longest.Known > 0 }

func (s *seat) lead() []string {
	if !s.known() {
		return []string{"How long somebody sat, and how often they took the load off, is not known."}
	}
	return []string{fmt.Sprintf("Seated for %s: %s. At most %s with none of them.", held(s.occupied.runs), s.said(), sitting(&s.longest))}
}

func (s *seat) said() string {
	var parts []string
	for _, c := range s.counts {
		parts = append(parts, number(len(c.at), c.name))
	}
	return strings.Join(parts, ", ")
}

// number writes how many of something, of which the name is for many.
func number(n int, name string) string {
	if n == 1 {
		name = strings.TrimSuffix(name, "s")
	}
	return fmt.Sprintf("%d %s", n, name)
}

// leastForRate is how long somebody must have sat for a rate by the hour.
const leastForRate = 30 * time.Minute

func (s *seat) section() paper.Section {
	out := paper.Section{Title: "Sitting", Facts: []paper.Fact{
		s.occupied.fact(), {Name: "nobody there", Value: held(inverse(s.occupied.runs))}, {Name: "not known", Value: paper.Lasting(s.occupied.runs.In(tally.Unknown))},
	}}
	seated := s.occupied.runs.In(tally.Yes)
	strips := []paper.Strip{s.x.strip("seated", s.occupied.runs)}
	for _, c := range s.counts {
		value, strip := paper.NotKnown, paper.Strip{Name: c.name}
		if s.known() {
			if value = fmt.Sprint(len(c.at)); seated >= leastForRate {
				value += fmt.Sprintf(", %.1f per hour seated", float64(len(c.at))/seated.Hours())
			}
		}
		for _, at := range c.at {
			strip.Runs = append(strip.Runs, paper.Run{From: s.x.seconds(at), To: s.x.seconds(at)})
		}
		out.Facts, strips = append(out.Facts, paper.Fact{Name: c.name, Value: value}), append(strips, strip)
	}
	out.Facts = append(out.Facts, paper.Fact{Name: "longest with none of them", Value: sitting(&s.longest)})
	if s.known() {
		out.Drawings = []paper.Figure{{SVG: paper.Strips("When somebody sat, and took the load off", s.x.axis(), strips),
			Caption: "Filled: seated, and each shift, relief and transfer when it was counted. Hatched: not known."}}
	}
	out.Notes = []string{reliefWords}
	return out
}

// reliefWords say what is counted, by the bounds that the signals of a seat have.
const reliefWords = "A weight shift is 30 to 90 % off at least one side for 15 s, a pressure relief at least 90 % off the whole seat for 15 s (Sonenblum, Sprigle, Martin, J Rehabil Res Dev 2016;53(5):585-598), each against the median of the last stable seated minutes; a transfer is an empty seat for 60 s (common practice, no source). Each episode is counted once, as the most that it was. While the load is not known nothing is counted."

// inverse has yes and no changed for each other.
func inverse(r tally.Runs) tally.Runs {
	out := make(tally.Runs, len(r))
	for i, run := range r {
		out[i] = run
		switch run.State {
		case tally.Yes:
			out[i].State = tally.No
		case tally.No:
			out[i].State = tally.Yes
		}
	}
	return out
}
