package person

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/stream/audit"
	"weald/stream/export"
	"weald/stream/journal"
	"weald/stream/record"
)

// A Table is one file of what the record has of a person.
type Table struct {
	Name  string
	About string // what is in it, for who opens it
	Write func(io.Writer) error
}

// Tables are what the record has of a person in words, but for readings.
func Tables(ctx context.Context, log journal.Log, code string, stays []Stay) []Table {
	return []Table{
		{"stays.csv", "sessions and tries: where and from when to when", func(w io.Writer) error { return writeStays(w, stays) }},
		{"happened.csv", "what happened where and while the person was there, and all else that names the code, as a table", func(w io.Writer) error {
			return happened(ctx, log, code, stays, w)
		}},
		{"happened.jsonl", "the same, whole, as the record has it: a JSON object a line", func(w io.Writer) error {
			return wholly(ctx, log, code, stays, w)
		}},
		{"seen.csv", "who did, saw and took away what of it", func(w io.Writer) error { return seen(ctx, log, code, w) }},
	}
}

func stamp(at sample.Instant) string {
	if at == sample.Never {
		return ""
	}
	return at.Time().UTC().Format(time.RFC3339Nano)
}

func writeStays(w io.Writer, stays []Stay) error {
	rows := [][]string{{"id", "what", "place", "from", "to"}}
	for _, s := range stays {
		what := "session"
		if s.Try {
			what = "try"
		}
		rows = append(rows, []string{s.ID, what, s.Place, stamp(s.From), stamp(s.To)})
	}
	return csv.NewWriter(w).WriteAll(rows)
}

// of calls each with the entries that are of a person, and their JSON.
func of(ctx context.Context, log journal.Log, code string, stays []Stay, each func(*record.Entry, []byte) error) error {
	w := word{code: code}
	for e, err := range journal.Readable(log.Entries(ctx, journal.Query{}), nil) {
		if err != nil {
			return err
		}
		switch e.Body.(type) {
		case record.Audit, record.State, record.Config: // which have a table of their own, or are of nobody
			continue
		}
		b, err := e.JSON()
		if err != nil {
			return err
		}
		mine := w.in(b)
		for i := range stays {
			mine = mine || stays[i].has(e.Place, e.At)
		}
		if !mine {
			continue
		}
		if err := each(&e, b); err != nil {
			return err
		}
	}
	return nil
}

func wholly(ctx context.Context, log journal.Log, code string, stays []Stay, w io.Writer) error {
	return of(ctx, log, code, stays, func(_ *record.Entry, b []byte) error {
		_, err := w.Write(append(b, '\n'))
		return err
	})
}

func happened(ctx context.Context, log journal.Log, code string, stays []Stay, w io.Writer) error {
	out := csv.NewWriter(w)
	if err := out.Write([]string{"time", "place", "kind", "what", "by", "text"}); err != nil {
		return err
	}
	err := of(ctx, log, code, stays, func(e *record.Entry, b []byte) error {
		what, text := said(e, b)
		return out.Write([]string{stamp(e.At), e.Place, string(e.Body.Kind()), export.Words(what), export.Words(e.Author), export.Words(text)})
	})
	out.Flush()
	if err == nil {
		err = out.Error()
	}
	return err
}

// said is an entry in a few words.
func said(e *record.Entry, b []byte) (what, text string) {
	switch x := e.Body.(type) {
	case record.Transition:
		return string(x.Event.What), x.Event.Text
	case record.Action:
		return x.What + " " + x.Subject, x.Reason
	case record.Mark:
		return x.What, x.Text
	case record.Session:
		return x.What, x.Notes
	case record.Attempt:
		if x.Read == nil {
			return x.What, x.Notes
		}
		var values []string
		for _, v := range x.Read.Values {
			values = append(values, fmt.Sprintf("%.1f", math.Round(v.MMHg*10)/10+0))
		}
		return x.What + " " + string(x.Read.Step), strings.Join(values, " ") + " mmHg"
	}
	var whole struct {
		Body json.RawMessage `json:"body"`
	}
	_ = json.Unmarshal(b, &whole) // which the record has written
	return "", string(whole.Body)
}

func seen(ctx context.Context, log journal.Log, code string, w io.Writer) error {
	out := csv.NewWriter(w)
	if err := out.Write([]string{"time", "who", "what", "place", "says"}); err != nil {
		return err
	}
	for e, err := range audit.Lines(ctx, log, audit.Query{Person: code}) {
		if err != nil {
			return err
		}
		a := e.Body.(record.Audit)
		if err := out.Write([]string{stamp(e.At), export.Words(audit.Plain(a.Who)), a.What, e.Place, export.Words(audit.Sentence(&e))}); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}
