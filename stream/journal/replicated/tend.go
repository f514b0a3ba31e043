package replicated

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"weald/stream/journal"
	"weald/stream/journal/replicated/patience"
)

// lookEvery is how often the servers on which a record is written are asked how far they
// are, how long they may take for that, and how long what they had then may take to come.
const lookEvery = 2 * time.Second

// comesEvery is how often it is looked whether that has come.
const comesEvery = 20 * time.Millisecond

// mostShort is at how many looks in a row a log may end before what has come of it: servers
// one of which has just become their leader may not have taken in all that they have.
const mostShort = 15

// A Sight is what came of asking the servers on which a record is written.
type Sight struct {
	At      time.Time    // when they were asked
	Reached bool         // they answered
	Behind  uint64       // how many of the messages that they had then have not come
	Head    journal.Head // of the copy, then, which has them all where Behind is 0
}

// Tend asks the servers on which the record is written, which are those of the Domain if
// there is one, again and again how far the log is there, and tells what came of it. Those
// that hear from no majority have not answered: others may have gone on without them. Where
// there is a Domain it lets the log go on here when they can be reached again, and when they can
// be and nothing comes: by themselves servers take up to a minute for that, as a request
// for what is missing may be lost with the server that had the link, and is made again
// after half a minute and more. It returns the cause of ctx's end, or why this can
// be no copy of what is written there now: journal.ErrForeign for a log that was made anew,
// journal.ErrBroken for one that has lost what had come from it.
func (j *Journal) Tend(ctx context.Context, conn *nats.Conn, tell func(Sight)) error {
	if j.options.Domain == "" {
		return j.tend(ctx, j.js, tell)
	}
	there, err := jetstream.NewWithDomain(conn, j.options.Domain)
	if err != nil {
		return err
	}
	return j.tend(ctx, there, tell)
}

func (j *Journal) tend(ctx context.Context, there jetstream.JetStream, tell func(Sight)) error {
	brought := j.options.Domain != ""
	cut := brought // whoever was here before may have gone with the source taken away
	var came line
	short := 0
	for {
		s, had := Sight{At: time.Now()}, j.dealt.Load()
		within, cancel := context.WithTimeout(ctx, lookEvery)
		origin, err := there.Stream(within, j.options.stream())
		cancel()
		if s.Reached = err == nil && agreed(origin.CachedInfo().Cluster); s.Reached {
			switch err := j.sameLog(origin.CachedInfo(), had); {
			case err == nil:
				short = 0
			case !brought && errors.Is(err, journal.ErrBroken) && short < mostShort:
				short++
				s.Reached = false
			default:
				return err
			}
		}
		if s.Reached {
			info := origin.CachedInfo()
			if brought && (cut || !j.flows(ctx, &came, info.State.LastSeq)) {
				cut = j.resume(ctx) != nil
			}
			s.Behind = j.comes(ctx, info.State.LastSeq, lookEvery)
			if s.Head, err = j.store.Head(ctx); err != nil {
				return err
			}
		}
		if cut = cut || brought && !s.Reached; ctx.Err() == nil {
			tell(s)
		}
		select {
		case <-time.After(lookEvery):
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// agreed reports whether the leader of a log has heard so lately from a majority that no other
// can have been made one: servers take four seconds or more to do without a leader. One that is
// cut off calls itself that for longer. A server that is alone has no others.
func agreed(c *jetstream.ClusterInfo) bool {
	if c == nil {
		return true
	}
	heard := 1
	for _, r := range c.Replicas {
		if !r.Offline && r.Active < 2*lookEvery {
			heard++
		}
	}
	return heard > (len(c.Replicas)+1)/2
}

// sameLog returns an error if a log is not the one of which this is a copy, as far as a
// message.
func (j *Journal) sameLog(origin *jetstream.StreamInfo, had uint64) error {
	there, err := baseOf(origin.Config)
	if err == nil && there.log != j.log {
		err = j.anew()
	}
	switch {
	case err != nil && j.options.Domain != "":
		return fmt.Errorf("in domain %s: %w", j.options.Domain, err)
	case err != nil:
		return err
	case origin.State.LastSeq < had:
		return fmt.Errorf("%d messages have come of a log that ends with message %d where it is written: what had been acknowledged was lost there: %w", had, origin.State.LastSeq, journal.ErrBroken)
	}
	return nil
}

// anew is what is wrong where messages are of another log than what this Journal has.
func (j *Journal) anew() error {
	do := "begin with an empty folder, or with a copy of the record that is written now (weald backup there, weald restore here)"
	if j.options.Domain != "" { // else it is what is written
		do += ", and delete the stream " + j.options.stream() + " here"
	}
	return fmt.Errorf("the log was made anew, and is not that of the record here: %s: %w", do, journal.ErrForeign)
}

// flows reports whether the log here has its source, and gets what is missing. It has none
// where somebody took it away, and did not live to give it back.
func (j *Journal) flows(ctx context.Context, came *line, there uint64) bool {
	within, cancel := context.WithTimeout(ctx, lookEvery)
	defer cancel()
	info, err := j.stream.Info(within)
	if err != nil {
		return true // as far as anybody knows
	}
	return len(info.Config.Sources) > 0 && !came.stands(info.State.LastSeq, there)
}

// A line is what has been seen of the way from one log to another that has it as its source.
// It goes by the two logs alone: that the files of this machine take nothing, as with a full
// disk, or that nothing is written, is nothing to it. That servers have not heard from each other
// for some seconds would not do: a line that is held up by one that it waits for sends signs of life.
type line struct {
	here, there uint64 // the last messages of the two when they were looked at last
	still       int    // at how many looks in a row nothing of what was missing had come
	stood       uint   // how often it has been taken up anew since it had all
}

// mostStood is how often the looks double after which a line is taken up anew: each time that
// this was in vain it is given twice as long, so that what takes long is not begun again and
// again.
const mostStood = 4

// stands reports whether nothing at all has come of what was missing, for long enough.
func (l *line) stands(here, there uint64) bool {
	if l.still++; here != l.here || here >= l.there {
		l.still = 0
	}
	if here >= there {
		l.stood = 0
	}
	l.here, l.there = here, there
	if l.still < 1<<min(l.stood, mostStood) {
		return false
	}
	l.still = 0
	l.stood++
	return true
}

// comes waits until a message has been dealt with, but no longer than that, and returns how many up to
// there have not.
func (j *Journal) comes(ctx context.Context, last uint64, within time.Duration) (behind uint64) {
	end, tick := time.After(within), time.NewTicker(comesEvery)
	defer tick.Stop()
	for {
		dealt := j.dealt.Load()
		if dealt >= last {
			return 0
		}
		select {
		case <-tick.C:
		case <-end:
			return last - dealt
		case <-ctx.Done():
			return last - dealt
		}
	}
}

// resume takes the source of the log away and gives it back. Between the two nothing comes,
// so that it goes on behind what is here.
func (j *Journal) resume(ctx context.Context) error {
	within, cancel := context.WithTimeout(ctx, patience.AnswerWithin)
	defer cancel()
	info, err := j.stream.Info(within)
	if err != nil {
		return err
	}
	c := info.Config
	c.Sources = nil
	if _, err = j.js.UpdateStream(within, c); err != nil {
		return err
	}
	if info, err = j.stream.Info(within); err != nil {
		return err
	}
	c.Sources = j.options.sources(info.State.LastSeq + 1)
	_, err = j.js.UpdateStream(within, c)
	return err
}
