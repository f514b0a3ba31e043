package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	calibration "weald/ingest/calib/record"
	"weald/rules"
	"weald/stream/journal"
	"weald/stream/keeper"
	"weald/stream/record"
	"weald/stream/report/paper"
)

// force says which rules judged, in words.
func (x *stretch) force() (paper.Section, error) {
	s := paper.Section{Title: "Rules in force"}
	if x.setup.Version > 0 {
		s.Text = append(s.Text, fmt.Sprintf("Configuration %d of the record, SHA-256 %s.", x.setup.Version, x.setup.Hash[:min(len(x.setup.Hash), 16)]))
	}
	s.Text = append(s.Text, x.setup.Notes...)
	changes, err := x.changes()
	if err != nil {
		return s, err
	}
	s.Text = append(s.Text, changes...)
	t := &paper.Table{Name: "rules", Told: true, Heads: []string{"rule", "priority", "lasting for", "asks"}}
	var notes []string
	rows := map[string]int{}
	for _, p := range x.engine.Progress(0, nil) {
		asks := p.Asks
		if r := x.rule(p.Rule); r != nil && r.Limit != nil {
			asks = r.Asks(p.Unit)
		}
		if note := sentence(p.Note); note != "" && !slices.Contains(notes, note) {
			notes = append(notes, note)
		}
		delay := "at once"
		if p.OnDelay > 0 {
			delay = rules.Duration(p.OnDelay)
		}
		key := p.Rule + "\x00" + asks
		if k, ok := rows[key]; ok { // of many regions
			cells := t.Rows[k].Cells
			cells[3] = spoken(p.Subject) + ", " + cells[3]
			continue
		}
		rows[key] = len(t.Rows)
		t.Add(p.Rule, p.Priority.String(), delay, strings.TrimSpace(spoken(p.Subject)+": "+asks))
	}
	if len(t.Rows) == 0 {
		s.Text = append(s.Text, "No rule judged here.")
		return s, nil
	}
	s.Table, s.Notes = t, notes
	return s, nil
}

// changes says which other configurations came into force in the stretch.
func (x *stretch) changes() (out []string, err error) {
	all, err := keeper.Reigns(x.ctx, x.Journal, x.lose)
	if err != nil {
		return nil, err
	}
	for _, e := range all {
		if e.At <= x.from || e.At >= x.to {
			continue
		}
		out = append(out, fmt.Sprintf("Configuration %d came into force at %s; alerts from then on are by that one, and all else here is not.", e.Body.(record.Config).Version, x.times().Full(e.At)))
	}
	return out, nil
}

// sentence ends text as one ends.
func sentence(text string) string {
	if text == "" || strings.HasSuffix(text, ".") {
		return text
	}
	return text + "."
}

func (x *stretch) rule(id string) *rules.Rule {
	for i := range x.setup.Plan.Rules {
		if x.setup.Plan.Rules[i].ID == id {
			return &x.setup.Plan.Rules[i]
		}
	}
	return nil
}

// mostCalibrations are listed.
const mostCalibrations = 24

// calibrations says what the pressures rest on.
func (x *stretch) calibrations() (paper.Section, error) {
	s := paper.Section{Title: "Calibration"}
	var all []calibration.Record // that were in force in the stretch
	zeroed := 0
	channels, sources := x.channels()
	q := journal.Query{Kinds: []record.Kind{record.KindCalibration, record.KindZeroing}, Until: x.to}
	for e, err := range journal.Readable(x.Journal.Entries(x.ctx, q), x.lose) {
		if err != nil {
			return s, err
		}
		switch b := e.Body.(type) {
		case record.Calibration:
			r := b.Record
			if !channels[channelName(&r)] {
				continue
			}
			if e.At <= x.from { // it replaces what there was before
				all = slices.DeleteFunc(all, func(o calibration.Record) bool { return channelName(&o) == channelName(&r) })
			}
			all = append(all, r)
		case record.Zeroing:
			if e.At >= x.from && sources[b.Zeroing.Bridge+"/"+b.Zeroing.Source] {
				zeroed++
			}
		}
	}
	if len(all) > 0 {
		s.Table = &paper.Table{Name: "calibration", Heads: []string{"channel", "made", "by", "valid until", "highest u", "record"}}
	}
	seen := map[string]bool{}
	for i := range all {
		r := &all[i]
		if seen[channelName(r)] = true; i >= mostCalibrations {
			continue
		}
		u := paper.NotKnown
		if f := r.Figures.UHighest; f != nil {
			u = fmt.Sprintf("%.1f mmHg", f.MMHg)
		}
		until := x.day(r.ValidUntil)
		if r.Expired(x.to.Time()) {
			until += ", past"
		}
		s.Table.Add(channelName(r), x.day(r.At), r.By, until, u, r.ID()[:12])
	}
	if n := len(all) - mostCalibrations; n > 0 {
		s.Notes = append(s.Notes, fmt.Sprintf("And %d more.", n))
	}
	if n := len(channels) - len(seen); n > 0 {
		s.Notes = append(s.Notes, fmt.Sprintf("%d of %d channels have no calibration record of that time: their pressure is as delivered, or by the lines of the configuration, with the uncertainty that is stated there, if any.", n, len(channels)))
	}
	if zeroed > 0 {
		s.Notes = append(s.Notes, fmt.Sprintf("Channels were zeroed %d times in this time.", zeroed))
	}
	return s, nil
}

func (x *stretch) day(t time.Time) string { return t.In(x.Zone).Format("2 Jan 2006") }

func channelName(r *calibration.Record) string {
	return fmt.Sprintf("%s/%s/%d", r.Bridge, r.Source, r.Channel)
}

// channels names all that the place is measured with, and their sources.
func (x *stretch) channels() (channels, sources map[string]bool) {
	channels, sources = map[string]bool{}, map[string]bool{}
	add := func(source, index int) {
		id := x.setup.Plan.Sources[source].ID
		channels[fmt.Sprintf("%s/%d", id, index)], sources[id] = true, true
	}
	for _, s := range x.place.Sites {
		for _, c := range s.Channels {
			add(c.Source, c.Index)
		}
	}
	if m := x.place.Mat; m != nil {
		for i := range m.Rows * m.Columns {
			add(m.Source, i)
		}
	}
	return channels, sources
}

// lost says what could not be read, if anything.
func (x *stretch) lost() []paper.Section {
	if len(x.losses) == 0 {
		return nil
	}
	return []paper.Section{{Title: "What could not be read", Text: x.losses}}
}
