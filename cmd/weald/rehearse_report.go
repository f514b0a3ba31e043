package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"time"

	"weald/rules/alert"
	"weald/stream/rehearsal"
	"weald/stream/view"
)

// eventLine is one event of a rehearsal for programs; null is unknown.
type eventLine struct {
	At       string   `json:"at"` // RFC 3339, nanoseconds where there are any
	Event    string   `json:"event"`
	Rule     string   `json:"rule"`
	Place    string   `json:"place"`
	Subject  string   `json:"subject"`
	Priority string   `json:"priority"`
	Value    *float64 `json:"value"`
	Limit    *float64 `json:"limit"`
	HeldS    float64  `json:"held_s"`
	Text     string   `json:"text"`
	ID       string   `json:"id"`
	Signal   string   `json:"signal"`
	Unit     string   `json:"unit"`
	U        *float64 `json:"u"`

	State      string `json:"state"` // after the change, in the words of ISA-18.2
	Tier       int    `json:"tier"`
	Chattering bool   `json:"chattering"`
	Quiet      bool   `json:"quiet"` // it chatters: live, nobody is told of this change
	Who        string `json:"who,omitempty"`
	Why        string `json:"why,omitempty"`
}

type summaryLine struct {
	Summary summary `json:"summary"`
}

// summary is the last line; figures that have no value are null.
type summary struct {
	From          *string        `json:"from"`
	To            *string        `json:"to"`
	Scans         int            `json:"scans"`
	Late          int            `json:"late"`
	Raised        int            `json:"raised"`
	Cleared       int            `json:"cleared"`
	Standing      int            `json:"standing"`
	PerPlaceHour  *float64       `json:"alerts_per_place_hour"`
	BusyShare     *float64       `json:"share_of_busy_10_min"`
	StandingLong  int            `json:"standing_over_24_h"`
	Chattering    []string       `json:"chattering"`
	Told          int            `json:"told"` // of the raised, those that people are told live
	InAMinute     []string       `json:"raised_3_times_in_1_min"`
	Floods        int            `json:"floods"`
	FloodShare    *float64       `json:"share_in_flood"`
	AckWithin5Min *float64       `json:"share_acknowledged_within_5_min"` // null where nobody could, as over recordings
	MedianAckS    *float64       `json:"median_s_to_acknowledge"`
	NinetyAckS    *float64       `json:"90th_percentile_s_to_acknowledge"`
	Own           int            `json:"own"` // alerts of the daemon itself in the record, which are not judged again
	Inputs        []inputSummary `json:"inputs"`
}

type inputSummary struct {
	Bridge   string            `json:"bridge"`
	File     string            `json:"file"`
	Frames   uint64            `json:"frames"`
	Bad      map[string]uint64 `json:"bad"`
	Gaps     uint64            `json:"gaps"`
	Repeats  uint64            `json:"repeats"`
	Damaged  uint64            `json:"damaged"`
	Restarts int               `json:"restarts"` // of the devices behind the bridge
}

func lineOf(e *alert.Event) eventLine {
	return eventLine{
		At: e.At.String(), Event: string(e.What), Rule: e.Rule, Place: e.Place, Subject: e.Subject,
		Priority: e.Priority.String(), Value: view.Reached(e.Value, e.Limit), Limit: view.Number(e.Limit),
		HeldS: view.Seconds(e.Held), Text: e.Text, ID: e.ID(), Signal: e.Signal, Unit: e.Unit, U: view.Measured(e.U),
		State: string(e.State), Tier: e.Tier, Chattering: e.Chattering, Quiet: e.Quiet, Who: e.Who, Why: e.Why,
	}
}

func summaryOf(r *rehearsal.Result, played []*recording) summary {
	s := summary{
		Scans: r.Scans, Late: r.Late, Raised: r.Figures.Raised, Cleared: r.Figures.Cleared,
		Standing: r.Figures.Standing, StandingLong: r.Figures.StandingLong, Chattering: r.Figures.Chattering,
		PerPlaceHour: view.Number(r.Figures.PerPlaceHour), BusyShare: view.Number(r.Figures.BusyShare),
		Told: r.Figures.Told, InAMinute: r.Figures.InAMinute, Floods: r.Figures.Floods, FloodShare: view.Number(r.Figures.FloodShare),
		AckWithin5Min: view.Number(r.Figures.AckSoon), MedianAckS: view.Number(r.Figures.AckMedian), NinetyAckS: view.Number(r.Figures.AckNinety),
		Own: r.Own, Inputs: []inputSummary{},
	}
	for _, list := range []*[]string{&s.Chattering, &s.InAMinute} {
		if *list == nil {
			*list = []string{}
		}
	}
	if r.Scans > 0 {
		from, to := r.From.String(), r.To.String()
		s.From, s.To = &from, &to
	}
	for _, p := range played {
		s.Inputs = append(s.Inputs, p.summary())
	}
	return s
}

func reportRehearsal(w io.Writer, results []*rehearsal.Result, played []*recording, asJSON bool) error {
	r := results[0]
	out := bufio.NewWriter(w)
	s := summaryOf(r, played)
	if asJSON {
		enc := json.NewEncoder(out)
		enc.SetEscapeHTML(false)
		for i := range r.Events {
			if err := enc.Encode(lineOf(&r.Events[i])); err != nil {
				return err
			}
		}
		if err := enc.Encode(summaryLine{s}); err != nil {
			return err
		}
		return out.Flush()
	}
	for i := range r.Events {
		e := &r.Events[i]
		fmt.Fprintf(out, "%s  %-8s %-6s %s, %s: %s\n", e.At, e.What, e.Priority, e.Place, e.Rule, e.Text)
	}
	tell(out, r, &s)
	return out.Flush()
}

// tell writes the figures of a rehearsal for people.
func tell(out io.Writer, r *rehearsal.Result, s *summary) {
	if s.From == nil {
		fmt.Fprintln(out, "no readings")
		return
	}
	fmt.Fprintf(out, "%d scans from %s to %s: raised %d, cleared %d, standing at the end %d, late scans %d\n",
		s.Scans, *s.From, *s.To, s.Raised, s.Cleared, s.Standing, s.Late)
	if s.Own > 0 {
		fmt.Fprintf(out, "%d alerts of the daemon itself, as of its disk or a sender, are in the record and are not judged again: what raised them is not kept\n", s.Own)
	}
	if s.PerPlaceHour != nil {
		fmt.Fprintf(out, "%s; %.0f %% of 10-minute periods with more than 10; %d chattering\n",
			alertRate(*s.PerPlaceHour, r.To.Sub(r.From)), *s.BusyShare*100, len(s.Chattering))
	}
}

// alertRate says how many alerts there are. What came in less than an hour is
// not multiplied up to one: one alert in nine seconds is no 400 an hour.
func alertRate(rate float64, over time.Duration) string {
	if over < time.Hour {
		return fmt.Sprintf("%v is too short for a rate of alerts by the hour", over.Round(time.Second))
	}
	return perHour(rate) + " alerts per place and hour"
}

// perHour writes a rate of alerts for people: rare ones not in powers of ten.
func perHour(rate float64) string {
	switch {
	case rate > 0 && rate < 0.01:
		return "under 0.01"
	case rate < 1:
		return strconv.FormatFloat(rate, 'f', 2, 64)
	case rate < 10:
		return strconv.FormatFloat(rate, 'f', 1, 64)
	}
	return strconv.FormatFloat(rate, 'f', 0, 64)
}
