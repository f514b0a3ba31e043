package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"time"

	"weald/rules"
	"weald/rules/contrast"
	"weald/stream/rehearsal"
	"weald/stream/view"
)

// contrastSummary is the last line where two rule sets were laid side by side.
type contrastSummary struct {
	Summary summary     `json:"summary"` // of the configuration's own rules
	Against summary     `json:"against"` // of the others
	Changes view.Counts `json:"changes"`
}

// reportContrast writes how two rule sets differ: results are those of the first
// and of the second.
func reportContrast(w io.Writer, results []*rehearsal.Result, played []*recording, asJSON bool) error {
	before, after := results[0], results[1]
	changes := rehearsal.Contrast(before, after)
	s := contrastSummary{summaryOf(before, played), summaryOf(after, played), view.CountsOf(contrast.Count(changes))}
	out := bufio.NewWriter(w)
	if asJSON {
		enc := json.NewEncoder(out)
		enc.SetEscapeHTML(false)
		for i := range changes {
			if err := enc.Encode(view.ContrastOf(&changes[i])); err != nil {
				return err
			}
		}
		if err := enc.Encode(s); err != nil {
			return err
		}
		return out.Flush()
	}
	for i := range changes {
		tellChange(out, &changes[i])
	}
	fmt.Fprintf(out, "with the other rules %d come, %d go, %d move, %d stay\n", s.Changes.Comes, s.Changes.Goes, s.Changes.Moves, s.Changes.Stays)
	fmt.Fprint(out, "rules of the configuration: ")
	tell(out, before, &s.Summary)
	fmt.Fprint(out, "the other rules: ")
	tell(out, after, &s.Against)
	fmt.Fprintln(out, "rules that were quiet on a recording are not thereby safe: local policy and the responsible clinician decide")
	return out.Flush()
}

// tellChange writes one alert for people.
func tellChange(out io.Writer, c *contrast.Change) {
	line := func(e *contrast.Episode, note string) {
		fmt.Fprintf(out, "%s  %-5s  %-6s %s, %s: %s%s\n", e.From, c.Kind, e.Priority, e.Place, e.Rule, e.Text, note)
	}
	switch c.Kind {
	case contrast.Comes:
		line(c.After, "; "+lasting(c.After))
	case contrast.Moves:
		line(c.Before, "; now "+moved(c.Before, c.After))
	default:
		line(c.Before, "; "+lasting(c.Before))
	}
}

func lasting(e *contrast.Episode) string {
	if e.Stands {
		return "stands at the end"
	}
	return "for " + rules.Duration(e.To.Sub(e.From))
}

// moved says what differs.
func moved(before, after *contrast.Episode) string {
	text := "raised " + apart(after.From.Sub(before.From))
	switch {
	case before.Stands && after.Stands:
		text += ", stands at the end as before"
	case before.Stands:
		text += ", cleared at " + after.To.String() + " where it stood to the end"
	case after.Stands:
		text += ", stands at the end"
	default:
		text += ", cleared " + apart(after.To.Sub(before.To))
	}
	if after.Subject != before.Subject {
		text += ", of " + after.Subject + " instead of " + before.Subject
	}
	if after.Priority != before.Priority {
		text += ", with priority " + after.Priority.String()
	}
	return text
}

func apart(d time.Duration) string {
	switch {
	case d < 0:
		return rules.Duration(-d) + " earlier"
	case d > 0:
		return rules.Duration(d) + " later"
	}
	return "as before"
}
