package record

import (
	"math"
	"time"

	"pgregory.net/rapid"

	calibration "weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/attempt"
)

// What follows draws things of every shape that can be kept.

func drawInstant(t *rapid.T, name string) sample.Instant {
	return sample.Instant(rapid.OneOf(
		rapid.Int64Range(1.7e18, 1.9e18), rapid.Int64(), rapid.Just[int64](0),
	).Draw(t, name))
}

func drawFloat(t *rapid.T, name string) float64 {
	return rapid.OneOf(rapid.Float64(), rapid.Just(math.NaN()), rapid.Just(math.Inf(-1)),
		rapid.Just(math.Copysign(0, -1)), rapid.Just(math.MaxFloat64)).Draw(t, name)
}

// drawReading draws one kind of readings: counts, decimals, or anything.
func drawReading(t *rapid.T) func(t *rapid.T) float64 {
	missing := rapid.IntRange(0, 3).Draw(t, "missing")
	kind := rapid.IntRange(0, 3).Draw(t, "kind")
	return func(t *rapid.T) float64 {
		if missing > 0 && rapid.IntRange(0, missing).Draw(t, "hole") == 0 {
			return math.NaN()
		}
		switch kind {
		case 0:
			return float64(rapid.Uint16().Draw(t, "count"))
		case 1:
			return float64(rapid.Int32Range(-20000, 20000).Draw(t, "tenths")) / 10
		case 2:
			return float64(rapid.Int64Range(-1<<33, 1<<33).Draw(t, "large")) / 100
		}
		return drawFloat(t, "reading")
	}
}

func drawBlock(t *rapid.T) *Block {
	b := &Block{
		Source: rapid.StringMatching(`[a-z]{1,8}/[a-z0-9]{1,8}`).Draw(t, "source"),
		Number: rapid.Uint64().Draw(t, "number"),
		Config: rapid.Uint64().Draw(t, "config"),
	}
	channels := rapid.IntRange(0, 9).Draw(t, "channels")
	reading := drawReading(t)
	rail := rapid.SampledFrom([]float64{math.NaN(), 4095}).Draw(t, "rail")
	told, level := rapid.Bool().Draw(t, "tells"), rapid.IntRange(-1, 100).Draw(t, "battery")
	ord := uint64(0)
	for range rapid.IntRange(1, 12).Draw(t, "scans") {
		ord += rapid.Uint64Range(1, 1<<40).Draw(t, "ord")
		s := Scan{
			Ord: ord, At: drawInstant(t, "at"), Arrived: drawInstant(t, "arrived"),
			Seq: rapid.Uint32().Draw(t, "seq"), Rail: rail, Raw: make([]float64, channels),
			Stored: rapid.Bool().Draw(t, "stored"), Damaged: rapid.Bool().Draw(t, "damaged"),
		}
		if s.Counted = rapid.Bool().Draw(t, "counted"); s.Counted {
			s.Millis, s.First = rapid.Uint32().Draw(t, "millis"), s.Seq-rapid.Uint32Range(0, 9).Draw(t, "frames")
		}
		if told {
			s.Battery = sample.ChargeOf(level)
			level -= max(0, rapid.IntRange(-3, 1).Draw(t, "falls"))
		}
		if rapid.IntRange(0, 9).Draw(t, "moves") == 0 {
			s.Rail = drawFloat(t, "rail")
		}
		for i := range s.Raw {
			s.Raw[i] = reading(t)
		}
		b.Scans = append(b.Scans, s)
	}
	b.After = rapid.Uint64Range(0, b.Scans[0].Ord-1).Draw(t, "after")
	return b
}

func drawText(t *rapid.T, name string) string {
	return rapid.OneOf(rapid.StringMatching(`[a-z-]{0,12}`), rapid.String()).Draw(t, name)
}

func drawEvent(t *rapid.T) alert.Event {
	text := func(name string) string { return drawText(t, name) }
	return alert.Event{
		At: drawInstant(t, "at"), Key: alert.Key{Place: text("place"), Rule: text("rule"), Subject: text("subject")},
		What: alert.Change(text("what")), Priority: alert.Priority(rapid.Uint8().Draw(t, "priority")),
		Signal: text("signal"), Unit: text("unit"), Text: text("text"),
		Value: drawFloat(t, "value"), U: drawFloat(t, "u"), Limit: drawFloat(t, "limit"),
		Held:  sampleDuration(t),
		State: alert.State(text("state")), Tier: rapid.IntRange(0, 3).Draw(t, "tier"), Chattering: rapid.Bool().Draw(t, "chattering"),
		Stands: rapid.Bool().Draw(t, "stands"), Quiet: rapid.Bool().Draw(t, "quiet"),
		Who: text("who"), Why: text("why"), Until: drawInstant(t, "until"),
	}
}

func drawBody(t *rapid.T) Body {
	text := func(name string) string { return drawText(t, name) }
	switch rapid.SampledFrom(Kinds()).Draw(t, "kind") {
	case KindTransition:
		return Transition{drawEvent(t)}
	case KindAction:
		return Action{text("what"), text("subject"), text("reason"), drawInstant(t, "until"), text("text")}
	case KindMark:
		return Mark{text("what"), text("text")}
	case KindSession:
		return Session{text("id"), text("what"), text("code"), rapid.Uint64().Draw(t, "config"), text("notes")}
	case KindConfig:
		c := NewConfig(rapid.Uint64().Draw(t, "version"), text("text"))
		c.Undoes = rapid.Uint64().Draw(t, "undoes")
		return c
	case KindNotice:
		n := Notice{Sender: text("sender"), What: text("what"), Key: text("key"), About: text("about"), Why: text("why"),
			Change: Position(rapid.Uint64().Draw(t, "change")), Through: Position(rapid.Uint64().Draw(t, "through")), From: Position(rapid.Uint64().Draw(t, "from"))}
		if rapid.Bool().Draw(t, "event") {
			e := drawEvent(t)
			n.Event = &e
		}
		return n
	case KindCalibration:
		r := calibrated()
		r.By, r.Method, r.Channel = text("by"), text("method"), rapid.IntRange(0, 3000).Draw(t, "channel")
		return Calibration{r}
	case KindZeroing:
		z := calibration.Zeroing{Bridge: text("bridge"), Source: text("source"), By: text("by"), At: drawInstant(t, "at").Time().UTC(), Channels: []int{rapid.IntRange(0, 3000).Draw(t, "channel")}}
		if z.Undo = rapid.Bool().Draw(t, "undo"); !z.Undo {
			z.Shown = []float64{rapid.Float64Range(-5, 5).Draw(t, "shown")}
		}
		return Zeroing{z}
	case KindCheck:
		return Check{calibration.Spot{Record: text("record"), By: text("by"), At: drawInstant(t, "at").Time().UTC(), Reference: rapid.Float64Range(0, 300).Draw(t, "reference"),
			Raw: rapid.Float64Range(0, 4095).Draw(t, "raw"), Holds: rapid.Bool().Draw(t, "holds"), Text: text("text")}}
	case KindAttempt:
		a := Attempt{ID: text("id"), What: text("what"), Code: text("code"), Lesson: text("lesson"), Config: rapid.Uint64().Draw(t, "config"), Notes: text("notes")}
		if rapid.Bool().Draw(t, "plan") {
			a.Plan = planned()
			a.Plan.Scheme, a.Plan.Most, a.Plan.Sites[0].GirthCM = text("scheme"), drawFloat(t, "most"), drawFloat(t, "girth")
		} else {
			a.Read = &attempt.Reading{Step: attempt.Step(text("step")), At: drawInstant(t, "at"), Values: []attempt.Value{{MMHg: drawFloat(t, "mmhg"), U: drawFloat(t, "u")}}}
		}
		return a
	case KindAudit:
		a := Audit{What: "w" + text("what"), Subject: text("subject"), Who: sealText(make([]byte, SaltSize), text("who")), Person: sealText(make([]byte, SaltSize), text("person"))}
		if rapid.Bool().Draw(t, "taken") {
			a.Who.Take()
		}
		if rapid.Bool().Draw(t, "covers") {
			a.Covers = []Cover{{Position: 3, Kind: KindAction, Salt: make([]byte, SaltSize)}}
		}
		return a
	case KindRefused:
		r := refused()
		r.By, r.Method, r.Reasons = text("by"), text("method"), []string{text("reason")}
		return Refused{r}
	case KindState:
		return State{rapid.SliceOfN(rapid.Byte(), 1, 300).Draw(t, "state")}
	default:
		return Fault{text("subject"), rapid.Bool().Draw(t, "over"), text("text"), alert.Priority(rapid.IntRange(0, 3).Draw(t, "priority"))}
	}
}

func drawEntry(t *rapid.T) Entry {
	e := Entry{
		Position: Position(rapid.Uint64().Draw(t, "position")), Ord: rapid.Uint64().Draw(t, "ord"),
		At: drawInstant(t, "at"), Written: drawInstant(t, "written"),
		Place: drawText(t, "place"), Author: drawText(t, "author"), Body: drawBody(t),
	}
	if e.Body.Kind() == KindAudit {
		e.Ord, e.Author = 0, ""
	}
	return e
}

func drawStretch(t *rapid.T) *Stretch {
	s := &Stretch{Place: drawText(t, "place"), Series: drawText(t, "series"), Tier: rapid.SampledFrom(Tiers()).Draw(t, "tier"), Serial: rapid.Uint64().Draw(t, "serial")}
	step := int64(s.Tier.Step())
	at := rapid.Int64Range(-2e9, 2e9).Draw(t, "from") * 1e9 / step
	for range rapid.IntRange(1, 70).Draw(t, "points") {
		at += rapid.Int64Range(1, 90).Draw(t, "skip")
		f := func(name string) float32 { return rapid.Float32().Draw(t, name) }
		s.Points = append(s.Points, Point{sample.Instant(at * step), f("min"), f("mean"), f("max")})
	}
	return s
}

func sampleDuration(t *rapid.T) time.Duration {
	return time.Duration(rapid.Int64().Draw(t, "held"))
}
