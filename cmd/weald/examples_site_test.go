package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// examplesOfASite types, one after the other, what somebody types who sets up a site,
// watches it and gives account of it, on one folder and one daemon.
func examplesOfASite(t *testing.T, ty *typing) {
	s := layOut(t, ty)
	s.setUp()
	s.calibrateTables()
	s.recordings()
	s.account()
	s.giveAccount()
	s.watched()
	s.afterwards()
}

// objects looks whether each line is an object of JSON, and returns the last.
func (s *site) objects(lines string) (last map[string]any) {
	s.t.Helper()
	for line := range strings.Lines(lines) {
		last = nil
		if err := json.Unmarshal([]byte(line), &last); err != nil {
			s.t.Errorf("%q: %v", line, err)
		}
	}
	return last
}

// shows looks whether a page that was written says all that is given, and removes it.
func (s *site) shows(name string, says ...string) {
	s.t.Helper()
	text := strings.ReplaceAll(s.read(name), "\u00a0", " ")
	text = strings.Join(strings.Fields(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(text, " ")), " ")
	for _, want := range says {
		if !strings.Contains(text, want) {
			s.t.Errorf("%s does not say %q: %s", name, want, text)
		}
	}
	if err := os.Remove(s.path(name)); err != nil {
		s.t.Error(err)
	}
}

func (s *site) setUp() {
	s.does("weald version", `^weald \S+, go1\.`)
	s.does("weald check weald.yaml", `^$`)
	s.does("weald check --schema > weald.schema.json")
	var schema struct {
		Defs map[string]any `json:"$defs"`
	}
	if err := json.Unmarshal([]byte(s.read("weald.schema.json")), &schema); err != nil || schema.Defs["Bridge"] == nil {
		s.t.Errorf("the schema: %v", err)
	}
	s.does("weald figures", `web\.listen: 127\.0\.0\.1:8420`, `rules\.relief`)
	if said := s.does("weald figures relief", `rules\.relief`); strings.Contains(said, "web.listen") {
		s.t.Error("the figures of reliefs have those of pages")
	}
	if last := s.objects(s.does("weald figures memory --json", `from memory`)); last["source"] == nil {
		s.t.Errorf("the last figure is %v", last)
	}
	s.does("weald tls make --dir /etc/weald/tls weald.larch.example 10.0.0.5", `for weald\.larch\.example, .*10\.0\.0\.5`)
	s.does("weald tls renew --dir /etc/weald/tls        # once a day, from a timer", `nothing to do yet`)
	s.weald("weald tls make --dir larch-ca larch.example")
	s.does("weald tls issue --dir larch-ca --out log-1 log-1.larch.example", `log-1 has .* for log-1\.larch\.example,`)
	s.does("weald cluster key /etc/weald/cluster.key", `^U[A-Z2-7]{55}\n$`)
	if key, err := os.Stat(s.path("/etc/weald/cluster.key")); err != nil || key.Mode().Perm() != 0o600 {
		s.t.Errorf("the key is %v, %v", key, err)
	}
}

func (s *site) calibrateTables() {
	s.does("weald calibrate fit --table leg-0.csv", `coefficient 1  0\.0399`, `accepted`, `creep is not known`)
	s.objects(s.does("weald calibrate fit --table leg-0.csv --model quadratic --json", `^{"model":"quadratic",.*"coefficients":\[-7\.98\d*,0\.0397\d*,1\.17\d*e-7\]`))
	if said := s.does("weald calibrate fit --table leg-0.csv --held leg-0-held.csv", `accepted`); strings.Contains(said, "creep is not known") {
		s.t.Errorf("it does not know what the pressure that was held says: %s", said)
	}
	s.does("weald calibrate fit --table cell.csv --model quadratic --direction response", `coefficient 1  25\.1`) // counts a mmHg
	study := strings.Join(strings.Fields(s.does("weald calibrate study")), " ")
	for _, m := range regexp.MustCompile(`(?m)^\| ([a-z, ]+) \| (\S+) \| (\S+ %) \| (\S+ %) \|$`).FindAllStringSubmatch(s.document("DEVELOPERS.md"), -1) {
		if row := strings.Join(m[1:], " "); !strings.Contains(study, row) {
			s.t.Errorf("the study is not as DEVELOPERS.md has it, %s: %s", row, study)
		}
	}
	s.does("weald calibrate study --chamber cells.csv", `one curve, one cell  +0\.\d+ `, `branches, four cells`)
}

// document is a file at the root of the repository.
func (s *site) document(name string) string {
	s.t.Helper()
	b, err := os.ReadFile(filepath.Join("../..", name))
	if err != nil {
		s.t.Error(err)
	}
	return string(b)
}

func (s *site) recordings() {
	s.does("weald emulate wrap --out leg.txt --speed 0 --lasting 10m")
	if n := strings.Count(s.read("leg.txt"), "w1,0,"); n != 6000 {
		s.t.Errorf("ten minutes at ten scans a second are %d lines", n)
	}
	s.does("weald emulate --recording k07.csv -c weald.yaml --bridge logger --send line --out -", `w1,0,0,\d+,50,47\*`, `w1,0,9,`)
	s.weald("weald emulate bed --out card.bin --speed 0 --lasting 20s")
	s.does("weald import -c weald.yaml --input logger=k07.csv", `10 rows taken, 0 refused`, `wrote record/logger-k07\.wcap`)
	s.does("weald import -c weald.yaml --input hub=card.bin --out card.wcap --strict", `41 frames taken, 0 refused`, `hub/mat4: 40 scans`, `wrote card\.wcap`)
	last := s.objects(s.does("weald rehearse -c weald.yaml --input logger=k07.csv --json"))
	if sum, is := last["summary"].(map[string]any); !is || sum["scans"] != 10.0 || sum["raised"] != 0.0 {
		s.t.Errorf("the summary is %v", last)
	}
	// Somebody lies still for longer than the rule allows, and for less than the milder one does.
	s.does("weald rehearse -c weald.yaml --input hub=night.wcap --from 2026-03-01T22:00:00Z", `22:00:05Z  raised .*bed-4, pressed: pelvis`, `\n40 scans from 2026-03-01T22:00:00Z .*raised 4`)
	s.does("weald rehearse -c weald.yaml --against milder.yaml --input hub=night.wcap", `21:59:55Z  goes .*bed-4, pressed: pelvis`, `0 come, 4 go`)
	s.does("weald rehearse -c weald.yaml --from 2026-03-01T22:00:00Z --to 2026-03-02T06:00:00Z", `22:00:05Z  raised .*bed-4, pressed: pelvis`, `\n480 scans from 2026-03-01T22:00:00Z to 2026-03-01T22:00:59`)
	trial := *s.shell
	trial.dir = s.path("trial")
	if err := os.MkdirAll(trial.path("recordings"), 0o700); err != nil {
		s.t.Fatal(err)
	}
	trial.write("trial.yaml", readmeYAML(s.t, readmeSection(s.t, "Ten minutes: from a folder of recordings to a report")))
	sit(s.t, trial.path("recordings/K-12_monday.csv"), "2026-03-02T09:00:00Z", 2*time.Minute, time.Minute)
	trial.does("weald import -c trial.yaml --sessions recordings --by R-1", `1 sessions? of 1 `)
}

// account is about those who log in.
func (s *site) account() {
	s.weald("weald account add eva --role admin -c weald.yaml --password-file password")
	s.does("weald account add anna --role admin -c weald.yaml")
	s.does("weald account list -c weald.yaml", `anna\s+admin`)
	s.does("weald account role anna --role carer -c weald.yaml")
	if said := s.weald("weald account list -c weald.yaml"); !regexp.MustCompile(`anna\s+carer`).MatchString(said) {
		s.t.Errorf("her role is in %s", said)
	}
	s.does("weald account password anna -c weald.yaml", `anna has another password`)
	s.does("weald account remove anna -c weald.yaml", `anna is removed`)
	if said := s.weald("weald account list -c weald.yaml"); strings.Contains(said, "anna") {
		s.t.Errorf("she is still there: %s", said)
	}
}

// giveAccount takes out of the record what it has of that evening.
func (s *site) giveAccount() {
	s.does("weald report session -c weald.yaml --session s-k3x9p2 -o k07.html")
	s.shows("k07.html", "Session of K-07 at bench-1", "1 March 2026")
	s.does("weald report attempt -c weald.yaml --attempt a-k3x9p2 -o k07-3.html")
	s.shows("k07-3.html", "Try of K-07 at bench-1", "40 ± 2 mmHg in the band")
	s.does("weald report night -c weald.yaml --place bed-4 -o night.html")
	s.shows("night.html", "Night in bed-4, "+time.Now().UTC().AddDate(0, 0, -1).Format("2 January"))
	s.does("weald report night -c weald.yaml --place bed-4 --from 2026-03-01T22:00:00Z --to 2026-03-02T06:00:00Z -o night.html")
	s.shows("night.html", "Night in bed-4, 1 March 2026")
	s.does("weald report trial -c weald.yaml -o trial.html")
	s.shows("trial.html", "K-12 1 100 %")
	s.does("weald report trial -c weald.yaml --from 2026-03-01T00:00:00Z -o trial.html")
	s.shows("trial.html", "K-12 1 100 %")
	s.does("weald export -c weald.yaml --place bench-1 --format csv --out k07")
	if table := s.read("k07/bench-1-20260301T2200Z-5-per-s.csv"); strings.Count(table, "\n") < 300 || !strings.Contains(table, "2026-03-01T22:00:10") {
		s.t.Errorf("the table is %.500s", table)
	}
	s.does("weald export -c weald.yaml --place bed-4 --format edf --from 2026-03-01T22:00:00Z --to 2026-03-02T06:00:00Z --out night.edf")
	if head := s.read("night.edf"); !strings.Contains(head[:256], "01.03.2622.00.00") {
		s.t.Errorf("the head of night.edf is %q", head[:256])
	}
	s.weald("weald export -c weald.yaml --place bench-1 --format edf --out k07.edf")
	s.does("weald import --edf k07.edf --out k07-again", `rows-1\.csv: 300 rows of \d+ signals`)
	s.weald("weald check k07-again/weald.yaml")
	s.does("weald person export -c weald.yaml K-07 -o k07.zip", `k07\.zip: \d+ bytes`)
	if zip := s.read("k07.zip"); !strings.Contains(zip, "s-k3x9p2/report.html") || !strings.Contains(zip, "a-k3x9p2/report.html") {
		s.t.Error("what there is of K-07 has no reports")
	}
	s.does("weald person erase -c weald.yaml K-07", `session s-k3x9p2 at bench-1`, `nothing was changed`)
	said := s.does("weald audit -c weald.yaml --from 2026-03-01T00:00:00Z --person K-07", `report made: session s-k3x9p2`)
	s.instead["1204:9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"] = s.found(said, `(?m)^head (\S+)$`)
	s.does("weald audit -c weald.yaml --verify --head 1204:9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08", `entries are as they were kept`)
	s.does("weald doctor -c weald.yaml --retention", `everything is kept for ever`)
	s.does("weald backup -c weald.yaml /mnt/stick/2026-03-01 --verify", `nothing is wrong with the copy`)
	s.does("weald backup --verify /mnt/stick/2026-03-01", `nothing is wrong`)
	s.does("weald restore /mnt/stick/2026-03-01 --data /var/lib/weald")
	if s.read("/var/lib/weald/readings-2026-03-01.db") != s.read("/mnt/stick/2026-03-01/readings-2026-03-01.db") {
		s.t.Error("the readings of that day are not what was copied")
	}
}

// found returns what a group of an expression matches.
func (s *site) found(said, re string) string {
	s.t.Helper()
	m := regexp.MustCompile(re).FindStringSubmatch(said)
	if m == nil {
		s.t.Fatalf("%q has no %s", said, re)
	}
	return m[1]
}
