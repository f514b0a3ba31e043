package main

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"weald/config"
	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/audit"
	"weald/stream/journal"
	"weald/stream/journal/sqlite"
	"weald/stream/keeper"
	"weald/stream/record"
	"weald/stream/sessions"
	"weald/webui/api"
)

// A sitting is a recording that becomes a session: of whom, and when.
type sitting struct {
	recording
	name, code string
	from, to   sample.Instant // of its readings
	shift      time.Duration  // what is added to its times
	scans      int

	there  bool              // the record has all of it
	begun  *sessions.Session // the record has a part of it; nil if it has none
	stored map[int]stored    // how much, by source
}

// countedFromZero is what no recording was made before: rows that say so count from
// their own beginning.
var countedFromZero = sample.At(time.Date(1990, 1, 1, 0, 0, 0, 0, time.UTC))

// beginForm is how the name of such a recording says when it began.
const beginForm = "2006-01-02T15-04"

// importSessions puts the recordings of a folder into the record, each as a session of
// whom its name says. All of them are read before anything is written.
func importSessions(cmd *cobra.Command, c *config.Config, f importFlags) error {
	if problem := api.CodeProblem(f.by); problem != "" {
		return usageError{errors.New("--by: " + problem)}
	}
	zone := hostZone()
	if f.zone != "" {
		var err error
		if zone, err = time.LoadLocation(f.zone); err != nil || f.zone == "Local" {
			return usageError{fmt.Errorf("--zone %q is not a zone like Europe/Vienna", f.zone)}
		}
	}
	place, bridge, err := measuredAt(c, f.place)
	if err != nil {
		return err
	}
	dir, err := dataOf(c, "")
	if err != nil {
		return err
	}
	all, err := sittingsIn(f.sessions, c, bridge)
	if err != nil {
		return err
	}
	var wrong []error
	refused := false
	for _, s := range all {
		wrong = append(wrong, s.look(cmd.Context(), zone))
		s.complain(cmd.ErrOrStderr())
		refused = refused || s.status.BadFrames() > 0
	}
	slices.SortFunc(all, func(a, b *sitting) int { return cmp.Compare(a.from, b.from) })
	if err := errors.Join(append(wrong, together(all))...); err != nil {
		return err
	}
	if refused && f.strict {
		fmt.Fprintln(cmd.ErrOrStderr(), "weald: rows were refused, and with --strict nothing is written then")
		return errFound
	}
	store, err := openOrMakeRecord(cmd.Context(), dir)
	if err != nil {
		return err
	}
	raised, late, err := keepSittings(cmd.Context(), store, c, place, f.by, all)
	if err := errors.Join(err, store.Close()); err != nil {
		if cmd.Context().Err() != nil { // which by itself is no failure, and would say nothing
			fmt.Fprintln(cmd.ErrOrStderr(), "weald: interrupted; the same command goes on where this one was")
		}
		return err
	}
	return tellSittings(cmd.OutOrStdout(), all, place, dir, zone, raised, late, f.config)
}

// measuredAt returns the place that is meant and the bridge that it is measured by.
func measuredAt(c *config.Config, id string) (*rules.Place, *config.Bridge, error) {
	plan := c.Plan()
	i := placeNamed(plan, id)
	switch {
	case id == "" && len(plan.Places) == 1:
		i = 0
	case id == "":
		return nil, nil, usageError{fmt.Errorf("the configuration has %d places: say with --place at which one the recordings were made", len(plan.Places))}
	case i < 0:
		return nil, nil, usageError{fmt.Errorf("--place: the configuration has no place %q", id)}
	}
	place := &plan.Places[i]
	var bridge *config.Bridge
	for b := range c.Bridges {
		for _, s := range c.Bridges[b].Sources {
			switch {
			case !place.Uses(s.Index):
			case bridge != nil && bridge != &c.Bridges[b]:
				return nil, nil, usageError{fmt.Errorf("%s is measured by more than one bridge, and a recording is of one", place.ID)}
			default:
				bridge = &c.Bridges[b]
			}
		}
	}
	if bridge == nil {
		return nil, nil, usageError{fmt.Errorf("%s is measured by no bridge", place.ID)}
	}
	return place, bridge, nil
}

// sittingsIn lists the files of a folder, and of whom each is.
func sittingsIn(folder string, c *config.Config, bridge *config.Bridge) ([]*sitting, error) {
	files, err := os.ReadDir(folder)
	if err != nil {
		return nil, fmt.Errorf("--sessions: %w", err)
	}
	var all []*sitting
	var wrong []error
	for _, f := range files {
		if f.IsDir() || strings.HasPrefix(f.Name(), ".") {
			continue
		}
		code, _, _ := strings.Cut(strings.TrimSuffix(f.Name(), filepath.Ext(f.Name())), "_")
		if problem := api.CodeProblem(code); problem != "" {
			wrong = append(wrong, fmt.Errorf("%s: a recording is named after whom it is of, up to the first _, such as K-12_monday.csv: %s", f.Name(), problem))
			continue
		}
		all = append(all, &sitting{name: f.Name(), code: code, recording: recording{bridge: bridgeOf(c, bridge, nil), path: filepath.Join(folder, f.Name())}})
	}
	if len(all) == 0 && len(wrong) == 0 {
		wrong = append(wrong, fmt.Errorf("there is no file in %s", folder))
	}
	return all, errors.Join(wrong...)
}

// look reads a recording to find out when it was made.
func (s *sitting) look(ctx context.Context, zone *time.Location) error {
	s.from, s.to = sample.Never, sample.Past
	if err := s.play(ctx, func(scan *sample.Scan) {
		s.from, s.to = min(s.from, scan.At), max(s.to, scan.At)
		s.scans++
	}); err != nil {
		return err
	}
	if s.scans == 0 {
		return fmt.Errorf("%s: nothing in it can be read as the bridge %s is configured", s.name, s.bridge.ID)
	}
	if s.from >= countedFromZero {
		return nil
	}
	_, rest, _ := strings.Cut(s.name, "_")
	began, err := time.ParseInLocation(beginForm, rest[:min(len(rest), len(beginForm))], zone)
	if err != nil {
		return fmt.Errorf("%s: its rows count from their own beginning, so that nobody can tell the day: name it after when it began, such as %s_%s.csv", s.name, s.code, "2026-03-01T09-30")
	}
	s.shift = time.Duration(sample.At(began))
	s.from, s.to = s.from.Add(s.shift), s.to.Add(s.shift)
	return nil
}

// together says which recordings, by their begin, are of the same time.
func together(all []*sitting) error {
	var wrong []error
	for i := 1; i < len(all); i++ {
		if a, b := all[i-1], all[i]; b.from <= a.to {
			wrong = append(wrong, fmt.Errorf("%s and %s are of the same time, and at one place there is one person: give each cushion a place and a bridge of its own, and each its folder", a.name, b.name))
		}
	}
	return errors.Join(wrong...)
}

// keepSittings writes recordings as sessions, and judges them by the rules. It returns
// how many alerts were raised, and how many readings are from before others of their
// place, which is not judged live either.
func keepSittings(ctx context.Context, store *sqlite.Store, c *config.Config, place *rules.Place, by string, all []*sitting) (raised, late int, err error) {
	log := audit.Over(store)
	before, err := sessions.Read(ctx, log, place.ID, nil)
	if err != nil {
		return 0, 0, err
	}
	rest, newest, err := missing(ctx, log, c.Plan(), before, all)
	if err != nil {
		return 0, 0, err
	}
	if len(rest) == 0 { // all but perhaps the judging
		if raised, err = judgeKept(ctx, log, c); err == nil && raised == 0 {
			err = fmt.Errorf("%s and all the others are of sessions which the record has: nothing was written", all[0].name)
		}
		return raised, 0, err
	}
	version, err := configVersion(ctx, log, c, 0, all[0].from, false)
	if err != nil {
		return 0, 0, err
	}
	head, err := log.Head(ctx)
	if err != nil {
		return 0, 0, err
	}
	w := &sittingWriter{ctx: ctx, log: log, plan: c.Plan(), config: version, ord: head.Ord}
	for _, s := range rest {
		if s.begun != nil && s.begun.Config != version {
			return 0, 0, fmt.Errorf("%s was begun with another configuration, version %d of the record: go on with that, or take the folder into an empty data folder", s.name, s.begun.Config)
		}
		if s.from < newest {
			late += s.scans
		}
		if err := w.keep(s, place.ID, by); err != nil {
			return 0, 0, fmt.Errorf("%s: %w: the record has it up to here; the same command goes on from there", s.name, err)
		}
	}
	raised, err = judgeKept(ctx, log, c)
	return raised, late, err
}

// sittingBlock is how many scans are written at once.
const sittingBlock = 256

type sittingWriter struct {
	ctx    context.Context
	log    journal.Journal
	plan   *rules.Plan
	config uint64
	ord    uint64
	blocks map[int]*record.Block // by source
	held   int
}

// keep writes one session. Its begin comes before its readings and its end after them, so
// that what was interrupted shows.
func (w *sittingWriter) keep(s *sitting, place, by string) error {
	id := "s-" + strings.ToLower(rand.Text()[:10])
	if s.begun != nil {
		id = s.begun.ID
	}
	step := func(what string, at sample.Instant) error {
		_, err := w.log.Append(w.ctx, record.Entry{At: at, Written: sample.At(time.Now()), Place: place, Author: by,
			Body: record.Session{ID: id, What: what, Code: s.code, Config: w.config}})
		return err
	}
	if s.begun == nil {
		if err := step(sessions.Begun, s.from); err != nil {
			return err
		}
	}
	w.blocks = map[int]*record.Block{}
	var failed error
	if err := s.play(w.ctx, func(scan *sample.Scan) {
		if failed != nil {
			return
		}
		var is bool
		if is, failed = s.passes(scan); is && failed == nil {
			failed = w.add(scan, s.shift)
		}
	}); err != nil {
		return err
	}
	if failed == nil {
		failed = w.flush()
	}
	if failed != nil {
		return failed
	}
	return step(sessions.Ended, s.end())
}

func (w *sittingWriter) add(scan *sample.Scan, shift time.Duration) error {
	kept := record.ScanOf(scan, nil)
	w.ord++
	kept.Ord, kept.At, kept.Arrived = w.ord, kept.At.Add(shift), kept.Arrived.Add(shift)
	b := w.blocks[scan.Source]
	if b == nil {
		b = &record.Block{Source: w.plan.Sources[scan.Source].ID, Config: w.config}
		w.blocks[scan.Source] = b
	}
	b.Scans = append(b.Scans, kept)
	if w.held++; w.held < sittingBlock {
		return nil
	}
	return w.flush()
}

func (w *sittingWriter) flush() error {
	var blocks []record.Block
	for i := range w.plan.Sources {
		if b := w.blocks[i]; b != nil && len(b.Scans) > 0 {
			blocks = append(blocks, *b)
			w.blocks[i] = nil
		}
	}
	w.held = 0
	if len(blocks) == 0 {
		return nil
	}
	return w.log.AppendReadings(w.ctx, blocks, nil)
}

// judgeKept judges the record to its end, as a start does, and keeps what comes of it.
func judgeKept(ctx context.Context, log journal.Journal, c *config.Config) (raised int, err error) {
	converters, err := convertersOf(c)
	if err != nil {
		return 0, err
	}
	plan := c.Plan()
	r, err := keeper.Resume(ctx, log, plan, keeper.NewReviver(plan, converters), slog.New(slog.DiscardHandler))
	if err != nil {
		return 0, err
	}
	now := sample.At(time.Now())
	for i := range r.New {
		if r.New[i].What == alert.Raised {
			raised++
		}
		if _, err := log.Append(ctx, record.Entry{At: r.New[i].At, Written: now, Place: r.New[i].Place, Body: record.Transition{Event: r.New[i]}}); err != nil {
			return raised, err
		}
	}
	return raised, nil
}

// tellSittings says what the record has now, and what can be done with it.
func tellSittings(w io.Writer, all []*sitting, place *rules.Place, dir string, zone *time.Location, raised, late int, file string) error {
	people := map[string]bool{}
	for _, s := range all {
		people[s.code] = true
		if s.there {
			fmt.Fprintf(w, "%s: %s at %s: in the record already\n", s.name, s.code, place.ID)
			continue
		}
		from, to := s.from.Time().In(zone), s.to.Time().In(zone)
		fmt.Fprintf(w, "%s: %s at %s, %s to %s: %s taken, %d refused\n", s.name, s.code, place.ID, from.Format("2006-01-02 15:04:05"), to.Format("15:04:05"), several(s.scans, "reading", "readings"), s.status.BadFrames())
	}
	verb := "are"
	if len(all) == 1 {
		verb = "is"
	}
	fmt.Fprintf(w, "%s of %s %s in the record in %s; by its rules %s raised\n", several(len(all), "session", "sessions"), several(len(people), "person", "people"), verb, dir, several(raised, "alert was", "alerts were"))
	if late > 0 {
		fmt.Fprintf(w, "%s older than what the record had of %s: in reports and exports, and not judged for alerts\n", several(late, "reading is", "readings are"), place.ID)
	}
	next := "session -c " + file + " --session ID"
	if place.Kind == rules.Seat {
		next = "trial -c " + file + " -o trial.html"
	}
	_, err := fmt.Fprintf(w, "next: weald report %s\n", next)
	return err
}

// several is a number of things, such as "1 session", "2 sessions".
func several(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func isFolder(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir()
}
