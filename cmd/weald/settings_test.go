package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/webui/api"
)

const unkeptConfig = `
web: {listen: "127.0.0.1:0"}
bridges:
  - {id: hub, link: {tcp: {dial: %q}}, format: packed, sources: [{number: 1, id: leg, channels: 2, rate: 100, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0]}, {id: calf, channels: [hub/leg/1]}]}
rules:
  - {id: long, at: {place: bench-1}, limit: {watch: ankle.pressure, above: 60}, on_delay: 1s, forget_after: 24h, priority: medium}
`

// The file is written from the pages, as it was and by its owner's permissions, only
// where it is still what was read; and a daemon that keeps no record goes on over it: who
// has an alert, what the last minute was, and which alert has lost its rule.
func TestTheConfigurationFromThePages(t *testing.T) {
	t.Parallel()
	h := newHub(t)
	real := write(t, "ward.yaml", fmt.Sprintf(unkeptConfig, h.port.Addr())+"  - {id: goes, at: {place: bench-1}, limit: {watch: ankle.pressure, above: 50}, priority: low}\n")
	if err := os.Chmod(real, 0o640); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "linked.yaml")
	if err := os.Symlink(real, name); err != nil {
		t.Fatal(err)
	}
	address := start(t, "run", "-c", name)
	const path = "/api/v1/configuration"
	file, err := get[api.ConfigFile](address, path)
	if err != nil || file.Text != file.InForce || file.Locked != "" || len(file.Faults) > 0 || file.Version != 0 {
		t.Fatalf("%v: %+v", err, file)
	}
	apply := func(text, seal string) (status int, says string) {
		t.Helper()
		b, err := json.Marshal(map[string]string{"code": "E-02", "text": text, "seal": seal})
		if err != nil {
			t.Fatal(err)
		}
		r, err := http.Post(address+path+"/apply", "application/json", strings.NewReader(string(b)))
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		var said struct {
			Detail  string
			Changes []string
		}
		if err := json.NewDecoder(r.Body).Decode(&said); err != nil {
			t.Fatal(err)
		}
		return r.StatusCode, said.Detail + strings.Join(said.Changes, "; ")
	}
	alertOf := func(rule string) (a alertView) {
		t.Helper()
		all, err := get[struct{ Alerts []alertView }](address, "/api/v1/alerts")
		if err != nil {
			t.Fatal(err)
		}
		if i := slices.IndexFunc(all.Alerts, func(a alertView) bool { return strings.Contains(a.ID, "~"+rule+"~") }); i >= 0 {
			a = all.Alerts[i]
		}
		return a
	}
	eventually(t, longEnough, func() error {
		if a := alertOf("goes"); a.State != "unacknowledged" {
			return fmt.Errorf("it is %+v", a)
		}
		return nil
	})
	eventually(t, longEnough, func() error {
		_, err := postJSON[alertView](t.Context(), address+"/api/v1/alerts/bench-1~long~ankle/acknowledge", map[string]string{"code": "K-07"})
		return err
	})
	before := alertOf("long")
	for _, c := range []struct {
		text, seal string
		status     int
		says       string
	}{
		{file.Text + "# more\n", "another", 409, "changed since it was read"},
		{strings.Replace(file.Text, "above: 50", "abov: 50", 1), file.Seal, 422, "did you mean above?"},
		{strings.Replace(file.Text, "127.0.0.1:0", "127.0.0.1:8421", 1), file.Seal, 422, "restart weald for it"},
	} {
		if status, says := apply(c.text, c.seal); status != c.status || !strings.Contains(says, c.says) {
			t.Errorf("%d %s, want %d %s", status, says, c.status, c.says)
		}
		if now, err := os.ReadFile(real); err != nil || string(now) != file.Text {
			t.Fatalf("the file has become %s (%v)", now, err)
		}
	}
	checked, err := postJSON[api.Checked](t.Context(), address+path+"/check", map[string]string{"text": strings.Replace(file.Text, "127.0.0.1:0", "127.0.0.1:8421", 1)})
	if err != nil || len(checked.Restart) != 1 || !slices.Equal(checked.Changes, []string{"setting web has changed"}) {
		t.Errorf("%v: %+v", err, checked)
	}

	to := time.Now().Truncate(time.Second) // a hold of more than a second has been raised by now
	text := fmt.Sprintf(unkeptConfig, h.port.Addr()) + "  - {id: new, at: {place: bench-1}, limit: {watch: ankle.pressure, above: 65}, priority: low}\n"
	if status, says := apply(text, file.Seal); status != 200 || says != "rule goes is gone; rule new is new" {
		t.Fatalf("%d %s", status, says)
	}
	if info, err := os.Lstat(name); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link has become a file: %v %v", info, err)
	}
	if info, err := os.Stat(real); err != nil || info.Mode().Perm() != 0o640 {
		t.Errorf("its permissions: %v %v", info, err)
	}
	if left, err := filepath.Glob(filepath.Join(filepath.Dir(real), ".weald*")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v %v", left, err)
	}
	if after := alertOf("long"); after != before {
		t.Errorf("before there was %+v, and now %+v", before, after)
	}
	if a := alertOf("goes"); a.State != "normal" {
		t.Errorf("the rule has gone, and its alert is %+v", a)
	}
	eventually(t, longEnough, func() error {
		if a := alertOf("new"); a.State != "unacknowledged" {
			return fmt.Errorf("the new rule: %+v", a)
		}
		return nil
	})
	span := "&from=" + to.Add(-time.Second).UTC().Format(time.RFC3339) + "&to=" + to.UTC().Format(time.RFC3339)
	curve, err := get[struct {
		Series []struct{ Min []*float64 }
	}](address, "/api/v1/places/bench-1/signals?name=ankle.pressure&points=2"+span)
	if err != nil || len(curve.Series) != 1 || !slices.ContainsFunc(curve.Series[0].Min, func(v *float64) bool { return v != nil && *v == 70 }) {
		t.Errorf("what was before is gone: %v %+v", err, curve)
	}
}
