package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// A point is what a daemon does with some places of a crowd.
type point struct {
	crowd              string
	places, processors int // processors are those of the machine

	daemon, source, pages float64 // processors that each keeps busy; pages are the viewers' side and the bell
	mb, disk              float64 // resident memory of the daemon, MB; what it has written, MB/s
	p50, p99              time.Duration
	share                 float64 // of the scans that were due, those that were judged
	sent, begun, kept     int     // scans, until all had ended; begun are those that sources began to send
	bytes                 float64 // of the record, for each of them
	heard                 bool    // every ring of the bell was
	said                  bool    // the record says that readings were not kept
}

// carried reports whether the daemon keeps up, and keeps everything.
func (p *point) carried() bool {
	return p.heard && p.p99 < alertWithin && p.share >= leastShare && p.kept >= p.sent && !p.said
}

// why says in a few words why it does not.
func (p *point) why() string {
	switch {
	case p.kept < p.sent || p.said:
		return "readings were not kept"
	case p.share < leastShare:
		return "readings waited"
	case !p.heard || p.p99 >= alertWithin:
		return "alerts were late"
	}
	return ""
}

var scaleColumns = []string{"load", "places", "processors", "daemon_processors", "source_processors", "pages_processors", "daemon_mb", "daemon_disk_mb_s",
	"alert_p50_ms", "alert_p99_ms", "judged_share", "sent", "begun", "kept", "record_bytes_scan", "all_heard", "loss_said"}

func (p *point) row() []string {
	f := func(v float64, digits int) string { return strconv.FormatFloat(v, 'f', digits, 64) }
	return []string{p.crowd, strconv.Itoa(p.places), strconv.Itoa(p.processors), f(p.daemon, 3), f(p.source, 3), f(p.pages, 3), f(p.mb, 0), f(p.disk, 3),
		f(float64(p.p50)/1e6, 1), f(float64(p.p99)/1e6, 1), f(p.share, 3), strconv.Itoa(p.sent), strconv.Itoa(p.begun), strconv.Itoa(p.kept), f(p.bytes, 0),
		strconv.FormatBool(p.heard), strconv.FormatBool(p.said)}
}

// writeScale writes the figures, and of them the plot and the text, into a folder.
func writeScale(dir string, all []point) error {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	rows := [][]string{scaleColumns}
	for i := range all {
		rows = append(rows, all[i].row())
	}
	if err := w.WriteAll(rows); err != nil {
		return err
	}
	rounded, err := readScale(b.Bytes()) // plot and text are of what is in the table
	if err != nil {
		return err
	}
	for name, body := range map[string][]byte{"scale.csv": b.Bytes(), "scale.svg": plotScale(rounded), "scale.md": tellScale(rounded)} {
		if err := os.WriteFile(filepath.Join(dir, name), body, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// readScale reads the figures.
func readScale(b []byte) (all []point, err error) {
	rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil || len(rows) == 0 || !slices.Equal(rows[0], scaleColumns) {
		return nil, fmt.Errorf("no figures of TestScale in columns %v (%v)", scaleColumns, err)
	}
	for _, row := range rows[1:] {
		number := func(i int) float64 {
			v, e := strconv.ParseFloat(row[i], 64)
			err = errors.Join(err, e)
			return v
		}
		ms := func(i int) time.Duration { return time.Duration(math.Round(number(i) * 1e6)) }
		all = append(all, point{
			crowd: row[0], places: int(number(1)), processors: int(number(2)), daemon: number(3), source: number(4), pages: number(5), mb: number(6), disk: number(7),
			p50: ms(8), p99: ms(9), share: number(10), sent: int(number(11)), begun: int(number(12)), kept: int(number(13)), bytes: number(14), heard: row[15] == "true", said: row[16] == "true",
		})
	}
	return all, err
}

// most returns of each crowd that was tried the point with the most places that were
// carried, and the one after it; nil where there is none.
func most(all []point, crowd string) (carried, after *point) {
	for i := range all {
		if p := &all[i]; p.crowd == crowd {
			if after = p; p.carried() {
				carried, after = p, nil
			}
		}
	}
	return carried, after
}

// tellScale writes the text.
func tellScale(all []point) []byte {
	var b bytes.Buffer
	say := func(format string, args ...any) { fmt.Fprintf(&b, format, args...) }
	say(`# What one daemon carries

Written by ` + "`make scale`" + `, as are the table (scale.csv) and the plot; every number below is from the table.
`)
	if len(all) == 0 {
		return b.Bytes()
	}
	say(`
One process of weald with its record on a disk, rules for every place, and ten pages open; beside it, on the same
%d processors, the program that plays the places over TCP or MQTT (`+"`weald emulate --places`"+`), and what the pages do. A mat
has 2,048 cells, a wrap four channels. A number of places is carried if of 100 alerts 99 are told to a
viewer within %d ms of the byte that raises them, %g %% of the scans that are due are judged in that time, and
everything that was sent is in the record when all have ended, which is counted. More may be kept than was sent, up to
what was begun: over MQTT a scan is sent when the daemon has acknowledged it, and some are on their way when the sources end.

| | carried | not any more | processors of the daemon | of the sources | ms to an alert, p99 | MB |
| --- | ---: | --- | ---: | ---: | ---: | ---: |
`, all[0].processors, alertWithin.Milliseconds(), leastShare*100)
	for _, l := range crowds {
		switch p, after := most(all, l.name); {
		case p == nil && after == nil:
		case p == nil:
			say("| %s | none | %d: %s | | | | |\n", l.name, after.places, after.why())
		default:
			stop := "not tried"
			if after != nil {
				stop = fmt.Sprintf("%d: %s", after.places, after.why())
			}
			say("| %s | %d | %s | %.2f | %.2f | %.0f | %.0f |\n", l.name, p.places, stop, p.daemon, p.source, float64(p.p99)/1e6, p.mb)
		}
	}
	say(`
![Processors, time to an alert and memory over the number of places](scale.svg)

## How cost grows

| | places | processors: daemon | sources | pages | MB | MB/s to the disk | ms to an alert: p50 | p99 | judged, %% | sent | begun | kept |
| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |
`)
	for i := range all {
		p := &all[i]
		name := p.crowd
		if !p.carried() {
			name += " (" + p.why() + ")"
		}
		half, most := "none came", "none came"
		if p.p99 > 0 {
			half, most = fmt.Sprintf("%.1f", float64(p.p50)/1e6), fmt.Sprintf("%.1f", float64(p.p99)/1e6)
		}
		say("| %s | %d | %.3f | %.3f | %.3f | %.0f | %.2f | %s | %s | %.1f | %d | %d | %d |\n", name, p.places, p.daemon, p.source, p.pages, p.mb, p.disk,
			half, most, 100*p.share, p.sent, p.begun, p.kept)
	}
	b.WriteString(estimate(all))
	return b.Bytes()
}

// Of the estimate.
const (
	estimatedBeds = 10000
	growing       = 5.5 // a block of ten scans goes to the log with one scan, with two, … with ten: (1 + … + 10) / 10
	logServers    = 3
	linkMBs       = 125 // 1 Gbit/s
)

// estimate says on paper how far it is from there to 10,000 beds.
func estimate(all []point) string {
	one, _ := most(all, crowds[0].name)
	if one == nil {
		return ""
	}
	n := float64(one.places)
	machines := math.Ceil(estimatedBeds / n)
	stream := growing * one.bytes / 1e6 // MB/s of a bed
	// Every machine follows every record: machines × beds × stream leaves the servers.
	breaks := math.Sqrt(logServers * linkMBs * n / stream)
	processors := one.daemon / n
	var b strings.Builder
	fmt.Fprintf(&b, `
## From there to %d beds, on paper

Nobody has tried this. It takes %d mats at a scan a second as what one machine of %d processors carries (above), and the
cluster as webui/src/notes/machines.md describes it: `+"`shares:`"+` over a log on %d servers, every machine with a copy of every
record, links of 1 Gbit/s.

| | of one bed | of %d |
| --- | ---: | ---: |
| processors, to judge, keep and show | %.4f | %.0f |
| memory of daemons | %.1f MB | %.0f GB |
| record | %.2f kB/s | %.1f MB/s, %.1f TB a day |
| to the log, where a block goes out again as long as it grows (%.1f times as much) | %.1f kB/s | %.0f MB/s |
| onto the disk of each of the %d servers, which keep all of it | %.1f kB/s | %.0f MB/s |
| machines | | %.0f |
| out of the log to machines that follow | | %.0f MB/s |

`, estimatedBeds, one.places, one.processors, logServers, estimatedBeds,
		processors, processors*estimatedBeds, one.mb/n, one.mb/n*estimatedBeds/1000,
		one.bytes/1e3, one.bytes*estimatedBeds/1e6, one.bytes*estimatedBeds*86400/1e12,
		growing, stream*1e3, stream*estimatedBeds, logServers, stream*1e3, stream*estimatedBeds, machines, machines*stream*estimatedBeds)
	all10k := "which is less than that: copies are what breaks first"
	if breaks >= estimatedBeds {
		all10k = "which is more than that, by this reckoning"
	}
	fmt.Fprintf(&b, `**What breaks first** is that every machine follows every record. What leaves the log grows with the square of the beds, as
each new machine takes a copy of all: the %d servers, of which each has a link of %d MB/s, can hand out no more than the records of
%.0f beds, %s. What servers send each other comes on top. Next is the disk of a server: %.0f MB/s of %d beds, each call synced,
where a server on two processors of a shared machine took 85 to 110 MB/s in appends of 64 kB when the log was chosen. Judging is
not what breaks: shares know nothing of each other.

What would have to change, in this order: machines that follow only the shares that they may have to take over, two or three
copies of each, so that what leaves the log grows with the beds; the log told what a block has grown by instead of the whole block;
and several logs, as wards have nothing in common (`+"`own:`"+` gives each its own already, with the centre as the only follower). What it
costs a machine to follow a record is not in the table, and is not in this estimate: it decodes and writes what it is sent, but judges nothing.
`, logServers, linkMBs, breaks, all10k, stream*estimatedBeds, estimatedBeds)
	return b.String()
}

// The plot and the text in the repository are those of the table in it.
func TestTheTextIsOfTheTable(t *testing.T) {
	dir := filepath.Join("testdata", "scale")
	table, err := os.ReadFile(filepath.Join(dir, "scale.csv"))
	if errors.Is(err, fs.ErrNotExist) {
		t.Skip("there is no table: make scale writes it")
	}
	if err != nil {
		t.Fatal(err)
	}
	all, err := readScale(table)
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string][]byte{"scale.svg": plotScale(all), "scale.md": tellScale(all)} {
		if got, err := os.ReadFile(filepath.Join(dir, name)); err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s is not of the table beside it (%v)", name, err)
		}
	}
}

// The numbers of the estimate, worked out by hand for a table that is easy to reckon with.
func TestTheEstimateIsReckonedRight(t *testing.T) {
	good := point{crowd: crowds[0].name, processors: 2, heard: true, share: 1, sent: 8000, begun: 8000, kept: 8000, p99: 90 * time.Millisecond}
	all := []point{good, good, good}
	all[0].places, all[0].daemon, all[0].mb, all[0].bytes = 1, 0.01, 50, 1900
	all[1].places, all[1].daemon, all[1].mb, all[1].bytes = 800, 0.8, 400, 1000
	all[2].places, all[2].p99 = 1200, 400*time.Millisecond
	dir := t.TempDir()
	if err := writeScale(dir, all); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(dir, "scale.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"| mats, 1 scan a second | 800 | 1200: alerts were late | 0.80 |",
		"| processors, to judge, keep and show | 0.0010 | 10 |", // 0.8/800
		"| memory of daemons | 0.5 MB | 5 GB |",                 // 400/800
		"| record | 1.00 kB/s | 10.0 MB/s, 0.9 TB a day |",      // 1e4 × 1000 B × 86,400 s = 0.864 TB
		"| 5.5 kB/s | 55 MB/s |",
		"| machines | | 13 |",                                     // 10,000/800 = 12.5
		"| out of the log to machines that follow | | 715 MB/s |", // 13 × 55
		"no more than the records of\n7385 beds, which is less",   // √(3 × 125 × 800 / 0.0055)
	} {
		if !strings.Contains(string(text), want) {
			t.Errorf("it does not say %q", want)
		}
	}
	if t.Failed() {
		t.Logf("%s", text)
	}
}
