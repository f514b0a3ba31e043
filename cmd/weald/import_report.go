package main

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"weald/ingest/frame"
	"weald/ingest/importing"
	"weald/ingest/sample"
)

// reportImport writes an account, for people or for programs.
func reportImport(w io.Writer, a *importing.Account, asJSON bool) error {
	out := bufio.NewWriter(w)
	if asJSON {
		if err := importLines(out, a); err != nil {
			return err
		}
		return out.Flush()
	}
	things := "frames"
	if a.Format == "delimited" {
		things = "rows"
	}
	fmt.Fprintf(out, "%s, as bridge %s: %d %s taken, %d refused\n", a.Input, a.Bridge, a.Frames, things, a.RefusedFrames())
	reportRefusals(out, a)
	if text := a.Wide.Sentence(); text != "" {
		fmt.Fprintf(out, "  %s: %s\n", a.Input, text)
	}
	for i := range a.Sources {
		reportSource(out, &a.Sources[i])
	}
	for i := range a.Steps {
		fmt.Fprintf(out, "  %s\n", stepText(a, &a.Steps[i]))
	}
	if n := stepCount(a) - uint64(len(a.Steps)); n > 0 {
		fmt.Fprintf(out, "  and %d more pauses and steps of the clock\n", n)
	}
	for _, u := range a.Unknown {
		fmt.Fprintf(out, "  source %d is not in the configuration; its %d frames are kept in the capture and judged nowhere\n", u.Number, u.Frames)
	}
	if a.Output == "" {
		fmt.Fprintln(out, "nothing was written, as nothing could be taken: is the format described as it is?")
	} else {
		fmt.Fprintf(out, "wrote %s, %d bytes; rehearse it with --input %s=%s\n", a.Output, a.Written, a.Bridge, a.Output)
	}
	return out.Flush()
}

func reportRefusals(out io.Writer, a *importing.Account) {
	reasons := make([]frame.Reason, 0, len(a.Refused))
	for r := range a.Refused {
		reasons = append(reasons, r)
	}
	slices.Sort(reasons)
	var totals []string
	for _, r := range reasons {
		totals = append(totals, fmt.Sprintf("%d %s", a.Refused[r], r))
	}
	if len(totals) > 0 {
		fmt.Fprintf(out, "  refused: %s\n", strings.Join(totals, ", "))
	}
	for i := range a.Problems {
		p := &a.Problems[i]
		fmt.Fprintf(out, "  %s: %s\n", placeOf(a, p.Line, p.Column, p.Byte, p.At), p.Text)
	}
	if n := a.RefusedFrames() - uint64(len(a.Problems)); n > 0 && len(a.Problems) > 0 {
		fmt.Fprintf(out, "  and %d more\n", n)
	}
	for _, text := range a.Damaged {
		fmt.Fprintf(out, "  %s: %s\n", a.Input, text)
	}
}

// placeOf says where in a recording something is: a line and column of a text, a
// byte of anything else, and for a capture, in which neither means much, when.
func placeOf(a *importing.Account, line, column int, at int64, after sample.Instant) string {
	switch {
	case line > 0 && column > 0:
		return fmt.Sprintf("%s:%d:%d", a.Input, line, column)
	case line > 0:
		return fmt.Sprintf("%s:%d", a.Input, line)
	case at >= 0:
		return fmt.Sprintf("%s: byte %d", a.Input, at)
	case after == sample.Past:
		return a.Input + ": at the beginning"
	}
	return fmt.Sprintf("%s: after %v", a.Input, after)
}

func reportSource(out io.Writer, s *importing.Source) {
	if s.Scans == 0 {
		fmt.Fprintf(out, "  %s: no scans\n", s.ID)
		return
	}
	fmt.Fprintf(out, "  %s: %d scans from %v to %v\n", s.ID, s.Scans, s.First, s.Last)
	say := func(n uint64, one, many string) {
		switch n {
		case 0:
		case 1:
			fmt.Fprintf(out, "    1 %s\n", one)
		default:
			fmt.Fprintf(out, "    %d %s\n", n, many)
		}
	}
	say(s.Pauses, "pause", "pauses")
	if s.Pauses > 0 {
		fmt.Fprintf(out, "    %v without readings in all, in which values are unknown\n", s.Silent)
	}
	say(s.StepsBack, "step back of the clock", "steps back of the clock")
	say(s.Late, "scan lies before one that came already: charted, and judged only with --by-event-time",
		"scans lie before one that came already: charted, and judged only with --by-event-time")
	say(s.StandStills, "row has the very time of the row above", "rows have the very time of the row above: are its decimals missing?")
	say(s.FirstPass, "row is in the first pass of an hour that comes twice, as clocks go back", "rows are in the first pass of an hour that comes twice, as clocks go back")
	say(s.SecondPass, "row is in the second pass of an hour that comes twice", "rows are in the second pass of an hour that comes twice")
	say(s.Missing, "frame is missing", "frames are missing")
	say(s.Repeats, "frame came again and counts once", "frames came again and count once")
	say(s.Partial, "scan lacks readings", "scans lack readings")
	say(s.Damaged, "scan was damaged at the source and has no readings", "scans were damaged at the source and have no readings")
	say(s.Stored, "frame was kept by the device and sent later", "frames were kept by the device and sent later")
	say(s.Unplaced, "of them has no time and is left out", "of them have no time and are left out")
	say(uint64(s.Restarts), "restart of the device", "restarts of the device")
}

func stepCount(a *importing.Account) (n uint64) {
	for i := range a.Sources {
		n += a.Sources[i].Pauses + a.Sources[i].StepsBack
	}
	return n
}

// stepText tells of a step in words.
func stepText(a *importing.Account, s *importing.Step) string {
	by, hint := s.By(), ""
	what := fmt.Sprintf("nothing for %v", by.Round(time.Millisecond))
	if by < 0 {
		what = fmt.Sprintf("the clock goes back by %v", (-by).Round(time.Millisecond))
	}
	if s.Hour {
		hint = "; about an hour, as daylight saving does: are the times in a zone?"
	}
	return fmt.Sprintf("%s: %s: %s, from %v to %v%s", placeOf(a, s.Line, 0, s.Byte, s.From), s.Source, what, s.From, s.To, hint)
}
