package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"database/sql"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	_ "modernc.org/sqlite"

	"weald/stream/journal"
	"weald/stream/record"
)

// newRecord makes another fixture of the present version: before a version changes what
// is in a data folder, so that the next one is held to it.
var newRecord = flag.String("new-record", "", "make testdata/folders/NAME.tar.gz of a short run")

// folderConfig is what made the folders; its bridge dials a port that a test fills in.
const folderConfig = `
data: record
web: {listen: "127.0.0.1:0"}
bridges:
  - {id: hub, link: {tcp: {dial: %q}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 100, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0]}, {id: calf, channels: [hub/leg/1]}]}
rules:
  - {id: long, at: {place: bench-1}, limit: {watch: ankle.pressure, above: 60}, on_delay: 1s, forget_after: 24h, priority: medium}
  - {id: wave, at: {place: bench-1}, limit: {watch: calf.pressure, above: 30}, on_delay: 20ms, priority: low}
`

// A seenFolder is what a version showed of a data folder that it had made.
type seenFolder struct {
	Changes []shownChange `json:"changes"` // the newest last
	From    time.Time     `json:"from"`
	To      time.Time     `json:"to"`
	Means   []*float64    `json:"means"` // of the ankle, a second each
}

type shownChange struct {
	At   time.Time `json:"at"`
	What string    `json:"what"`
	Text string    `json:"text"`
}

func seenBy(t *testing.T, address string, from, to time.Time) (s seenFolder) {
	t.Helper()
	q := url.Values{"from": {from.Format(time.RFC3339)}, "to": {to.Format(time.RFC3339)}}
	changes, err := get[struct {
		Changes []shownChange
	}](address, "/api/v1/alerts/changes?quiet=true&newest=5000&"+q.Encode())
	if err != nil {
		t.Fatal(err)
	}
	s = seenFolder{Changes: changes.Changes, From: from, To: to}
	slices.SortStableFunc(s.Changes, func(a, b shownChange) int { return a.At.Compare(b.At) })
	q.Set("name", "ankle.pressure")
	q.Set("points", fmt.Sprint(int(to.Sub(from)/time.Second)))
	curve, err := get[struct {
		Series []struct{ Mean []*float64 }
	}](address, "/api/v1/places/bench-1/signals?"+q.Encode())
	if err != nil || len(curve.Series) != 1 {
		t.Fatal(err, curve)
	}
	s.Means = curve.Series[0].Mean
	return s
}

// makeFolder runs a daemon for some seconds, acknowledges, puts another configuration into
// force, and packs what it leaves with what it showed of it.
func makeFolder(t *testing.T, file string) {
	h := newHub(t)
	name := write(t, "ward.yaml", fmt.Sprintf(folderConfig, h.port.Addr()))
	from := time.Now().UTC().Truncate(time.Second)
	v := launch(t, name)
	eventually(t, longEnough, func() error {
		_, err := postJSON[alertView](t.Context(), v.address+"/api/v1/alerts/bench-1~long~ankle/acknowledge", map[string]string{"code": "K-07"})
		return err
	})
	text := fmt.Sprintf(folderConfig, h.port.Addr()) + "  - {id: later, at: {place: bench-1}, limit: {watch: calf.pressure, above: 35}, priority: low}\n"
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := postJSON[struct{}](t.Context(), v.address+"/api/v1/configuration/apply", map[string]string{"code": "E-02"}); err != nil {
		t.Fatal(err)
	}
	time.Sleep(2 * time.Second)
	h.more.Store(false)
	time.Sleep(1500 * time.Millisecond)
	v.end()
	to := time.Now().UTC().Truncate(time.Second) // later than all that came
	v = launch(t, name)
	seen := seenBy(t, v.address, from, to)
	v.end()
	b, err := json.MarshalIndent(seen, "", " ")
	if err == nil {
		err = os.WriteFile(filepath.Join(filepath.Dir(name), "seen.json"), b, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	var packed bytes.Buffer
	zip, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
	if err != nil {
		t.Fatal(err)
	}
	out := tar.NewWriter(zip)
	if err := os.WriteFile(name, []byte(strings.ReplaceAll(text, h.port.Addr().String(), "%ADDRESS%")), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, rel := range []string{"record/ask", "record/reserve"} { // a socket, and room that a start takes anew
		_ = os.Remove(filepath.Join(filepath.Dir(name), rel))
	}
	if err := errors.Join(out.AddFS(os.DirFS(filepath.Dir(name))), out.Close(), zip.Close(), os.MkdirAll(filepath.Dir(file), 0o755), os.WriteFile(file, packed.Bytes(), 0o644)); err != nil {
		t.Fatal(err)
	}
	t.Logf("%s has %d bytes", file, packed.Len())
}

// unpack lays out a folder that a version made, with a bridge at an address.
func unpack(t *testing.T, from, address string) (name string, seen seenFolder) {
	t.Helper()
	f, err := os.Open(from)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	zip, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for in := tar.NewReader(zip); ; {
		head, err := in.Next()
		if err == io.EOF {
			break
		}
		if err != nil || !filepath.IsLocal(head.Name) {
			t.Fatal(err, head)
		}
		path := filepath.Join(dir, head.Name)
		if head.Typeflag == tar.TypeDir {
			continue
		}
		b, err := io.ReadAll(in)
		if err == nil {
			err = errors.Join(os.MkdirAll(filepath.Dir(path), 0o700), os.WriteFile(path, bytes.ReplaceAll(b, []byte("%ADDRESS%"), []byte(address)), 0o600))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	b, err := os.ReadFile(filepath.Join(dir, "seen.json"))
	if err == nil {
		err = json.Unmarshal(b, &seen)
	}
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "ward.yaml"), seen
}

// A data folder that any former version has made is gone on with: the same alerts, the
// same curves, judged again the same, and what comes now behind it.
func TestFoldersOfFormerVersions(t *testing.T) {
	t.Parallel()
	if *newRecord != "" {
		makeFolder(t, filepath.Join("testdata", "folders", *newRecord+".tar.gz"))
	}
	all, err := filepath.Glob("testdata/folders/*.tar.gz")
	if err != nil || len(all) == 0 {
		t.Fatal("there are no folders", err)
	}
	for _, from := range all {
		t.Run(strings.TrimSuffix(filepath.Base(from), ".tar.gz"), func(t *testing.T) {
			t.Parallel()
			h := newHub(t)
			name, want := unpack(t, from, h.port.Addr().String())
			dir := filepath.Join(filepath.Dir(name), "record")
			if len(want.Changes) < 10 || len(want.Means) < 4 {
				t.Fatalf("%d changes, %d seconds: too small to prove anything", len(want.Changes), len(want.Means))
			}
			v := launch(t, name)
			same := func() {
				t.Helper()
				got := seenBy(t, v.address, want.From, want.To)
				if !slices.Equal(got.Changes, want.Changes) {
					t.Errorf("it shows\n%+v\nand the version that made it showed\n%+v", got.Changes, want.Changes)
				}
				if a, b := points(got.Means), points(want.Means); a != b {
					t.Errorf("it draws %s\nand the version that made it drew %s", a, b)
				}
			}
			same()
			eventually(t, longEnough, func() error {
				all, err := get[struct{ Alerts []alertView }](v.address, "/api/v1/alerts?state=acknowledged")
				if err == nil && !slices.ContainsFunc(all.Alerts, func(a alertView) bool { return a.ID == "bench-1~long~ankle" && a.By == "K-07" }) {
					err = fmt.Errorf("nobody has the long alert: %+v", all)
				}
				return err
			})
			was := want.Changes[len(want.Changes)-1].At
			eventually(t, longEnough, func() error { // the wave goes on, and is on the disk
				all, err := get[struct{ Changes []shownChange }](v.address, "/api/v1/alerts/changes?quiet=true&from="+url.QueryEscape(was.Add(time.Second).Format(time.RFC3339)))
				if err == nil && len(all.Changes) < 3 {
					err = fmt.Errorf("%d changes since: %s", len(all.Changes), v.stderr.String())
				}
				return err
			})
			v.end()
			v = launch(t, name)
			same()
			v.end()
			store, _ := recordIn(t, dir)
			inOrder(t, store)
			var got []string
			for e, err := range store.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindTransition}}) {
				if err != nil {
					t.Fatal(err)
				}
				ev := e.Body.(record.Transition).Event
				got = append(got, changeLine(&ev))
			}
			if again := judgedByAllVersions(t, store, filepath.Dir(name)); !slices.Equal(got, again) {
				t.Errorf("kept:\n%s\njudged again:\n%s", strings.Join(got, "\n"), strings.Join(again, "\n"))
			}
		})
	}
}

func points(means []*float64) string {
	var b strings.Builder
	for _, m := range means {
		if m == nil {
			b.WriteString("- ")
		} else {
			fmt.Fprintf(&b, "%.3f ", *m)
		}
	}
	return b.String()
}

// A folder that a newer version has made is refused with a sentence, and stays as it is.
func TestAFolderOfANewerVersionIsLeftAlone(t *testing.T) {
	t.Parallel()
	all, err := filepath.Glob("testdata/folders/*.tar.gz")
	if err != nil || len(all) == 0 {
		t.Fatal("there are no folders", err)
	}
	name, _ := unpack(t, all[len(all)-1], "127.0.0.1:1")
	dir := filepath.Join(filepath.Dir(name), "record")
	files, err := filepath.Glob(filepath.Join(dir, "*.db"))
	if err != nil || len(files) < 2 {
		t.Fatal(files, err)
	}
	for _, f := range files {
		db, err := sql.Open("sqlite", f)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Exec("CREATE TABLE of_another_time(x); PRAGMA user_version=1000"); err != nil {
			t.Fatal(err)
		}
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
	}
	before := everythingIn(t, dir)
	var stderr log
	if code := run(t.Context(), []string{"run", "-c", name}, io.Discard, &stderr); code != 1 || !strings.Contains(stderr.String(), "newer version") {
		t.Errorf("%d: %s", code, stderr.String())
	}
	if after := everythingIn(t, dir); !bytes.Equal(before, after) {
		t.Error("it has changed something in the folder")
	}
}
