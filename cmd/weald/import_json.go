package main

import (
	"encoding/json"
	"io"

	"weald/ingest/importing"
	"weald/ingest/sample"
)

// importProblem is one refused frame or row; null is unknown.
type importProblem struct {
	File   string  `json:"file"`
	Line   *int    `json:"line"`
	Column *int    `json:"column"`
	Byte   *int64  `json:"byte"`
	After  *string `json:"after"` // RFC 3339: arrival of what came before
	Reason string  `json:"reason"`
	Text   string  `json:"text"`
}

// importStep is a pause, or a step back of a clock.
type importStep struct {
	File      string  `json:"file"`
	Source    string  `json:"source"`
	Line      *int    `json:"line"`
	Byte      *int64  `json:"byte"`
	From      string  `json:"from"`
	To        string  `json:"to"`
	BySeconds float64 `json:"by_s"`
	AboutHour bool    `json:"about_an_hour"`
}

type importAccount struct {
	Bridge         string            `json:"bridge"`
	File           string            `json:"file"`
	Format         string            `json:"format"`
	Capture        bool              `json:"capture"`
	Bytes          int64             `json:"bytes"`
	Taken          uint64            `json:"taken"`
	Refused        uint64            `json:"refused"`
	ByReason       map[string]uint64 `json:"refused_by_reason"`
	Wide           uint64            `json:"wide_rows"`
	WideLines      []int             `json:"wide_lines"` // the first few
	DamagedRecords uint64            `json:"damaged_records"`
	Damage         []string          `json:"damage"`
	Sources        []importSource    `json:"sources"`
	Unknown        []importUnknown   `json:"unknown_sources"`
	Output         *string           `json:"output"` // null: nothing was written
	Written        int64             `json:"written"`
}

type importSource struct {
	ID            string  `json:"id"`
	Scans         uint64  `json:"scans"`
	From          *string `json:"from"`
	To            *string `json:"to"`
	Pauses        uint64  `json:"pauses"`
	SilentSeconds float64 `json:"silent_s"`
	StepsBack     uint64  `json:"steps_back"`
	Late          uint64  `json:"late"`
	SameTime      uint64  `json:"same_time"`
	FirstPass     uint64  `json:"first_pass_rows"`
	SecondPass    uint64  `json:"second_pass_rows"`
	Missing       uint64  `json:"gaps"`
	Repeats       uint64  `json:"repeats"`
	Partial       uint64  `json:"partial"`
	Damaged       uint64  `json:"damaged"`
	Stored        uint64  `json:"stored"`
	Unplaced      uint64  `json:"unplaced"`
	Restarts      int     `json:"restarts"`
}

type importUnknown struct {
	Number uint16 `json:"number"`
	Frames uint64 `json:"frames"`
}

// importLines writes an account for programs.
func importLines(w io.Writer, a *importing.Account) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	for _, p := range a.Problems {
		line := importProblem{
			File: a.Input, Line: unless(p.Line, 0), Column: unless(p.Column, 0), Byte: unless(p.Byte, -1),
			After: moment(p.At), Reason: string(p.Reason), Text: p.Text,
		}
		if err := enc.Encode(map[string]importProblem{"problem": line}); err != nil {
			return err
		}
	}
	for _, s := range a.Steps {
		line := importStep{
			File: a.Input, Source: s.Source, Line: unless(s.Line, 0), Byte: unless(s.Byte, -1),
			From: s.From.String(), To: s.To.String(), BySeconds: s.By().Seconds(), AboutHour: s.Hour,
		}
		if err := enc.Encode(map[string]importStep{"step": line}); err != nil {
			return err
		}
	}
	return enc.Encode(map[string]importAccount{"account": accountLine(a)})
}

func accountLine(a *importing.Account) importAccount {
	line := importAccount{
		Bridge: a.Bridge, File: a.Input, Format: a.Format, Capture: a.Capture, Bytes: a.Bytes,
		Taken: a.Frames, Refused: a.RefusedFrames(), ByReason: map[string]uint64{},
		Wide: a.Wide.Rows, WideLines: append([]int{}, a.Wide.Lines...),
		DamagedRecords: a.Records, Damage: append([]string{}, a.Damaged...),
		Sources: []importSource{}, Unknown: []importUnknown{},
		Output: unless(a.Output, ""), Written: a.Written,
	}
	for r, n := range a.Refused {
		line.ByReason[string(r)] = n
	}
	for _, s := range a.Sources {
		src := importSource{
			ID: s.ID, Scans: s.Scans, Pauses: s.Pauses, SilentSeconds: s.Silent.Seconds(), StepsBack: s.StepsBack,
			Late: s.Late, SameTime: s.StandStills, FirstPass: s.FirstPass, SecondPass: s.SecondPass,
			Missing: s.Missing, Repeats: s.Repeats, Partial: s.Partial, Damaged: s.Damaged,
			Stored: s.Stored, Unplaced: s.Unplaced, Restarts: s.Restarts,
		}
		if s.Scans > 0 {
			src.From, src.To = moment(s.First), moment(s.Last)
		}
		line.Sources = append(line.Sources, src)
	}
	for _, u := range a.Unknown {
		line.Unknown = append(line.Unknown, importUnknown(u))
	}
	return line
}

// unless returns v, or null where v says that there is none.
func unless[T comparable](v, none T) *T {
	if v == none {
		return nil
	}
	return &v
}

// moment writes an instant, null for one that is not known.
func moment(at sample.Instant) *string {
	if at == sample.Past || at == sample.Never {
		return nil
	}
	text := at.String()
	return &text
}
