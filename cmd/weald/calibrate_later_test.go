package main

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// A spot check and a zeroing are asked of the daemon that runs with a configuration,
// and what it says becomes words and a status.
func TestChecksAndZeroingsFromATerminal(t *testing.T) {
	var asked []string
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		asked = append(asked, r.Method+" "+r.URL.RequestURI()+" "+string(body))
		switch {
		case r.Method == http.MethodGet && strings.Contains(r.URL.RawQuery, "channel=9"):
			fmt.Fprint(w, `{"calibrations": []}`)
		case r.Method == http.MethodGet:
			fmt.Fprint(w, `{"calibrations": [{"id": "abc"}]}`)
		case strings.HasSuffix(r.URL.Path, "/checks"):
			fmt.Fprintf(w, `{"text": "as it is", "holds": %v}`, strings.Contains(string(body), `"reference_mmhg":40`))
		case strings.Contains(string(body), `"channels":[5]`):
			w.WriteHeader(http.StatusConflict)
			fmt.Fprint(w, `{"detail": "nothing was zeroed: channel 5 shows 7.0 mmHg"}`)
		default:
			fmt.Fprint(w, `{"channels": [0, 1], "shown_mmhg": [1.5, -0.25]}`)
		}
	}))
	defer server.Close()
	at := strings.Replace(uncalibratedConfig, "127.0.0.1:0", strings.TrimPrefix(server.URL, "http://"), 1)
	config := write(t, "hub.yaml", fmt.Sprintf(at, t.TempDir(), "127.0.0.1:9"))
	for _, c := range []struct {
		args   string
		status int
		says   string
		asks   string // in the end
	}{
		{"check --channel hub/leg/0 --at 40 --by E-01 --reference-u 0.5", 0, "hub/leg/0: as it is", `POST /api/v1/calibrations/abc/checks {"by":"E-01","reference_mmhg":40,"reference_u_mmhg":0.5}`},
		{"check --channel hub/leg/0 --at 30 --by E-01", 1, "hub/leg/0: as it is", ""},
		{"check --channel hub/leg/9 --at 40 --by E-01", 1, "has no calibration in force", "GET /api/v1/calibrations?in_force=true&bridge=hub&source=leg&channel=9 "},
		{"check --channel leg/0 --at 40 --by E-01", 2, "want BRIDGE/SOURCE/NUMBER", ""},
		{"check --channel hub/leg/0 --by E-01", 2, "--at and --by", ""},
		{"zero --source hub/leg --channels 0-1 --by E-01", 0, "hub/leg/0: 1.50 mmHg are taken off\nhub/leg/1: -0.25 mmHg", `POST /api/v1/zeroings {"bridge":"hub","by":"E-01","channels":[0,1],"source":"leg","undo":false}`},
		{"zero --source hub/leg --channels 0-1 --by E-01 --undo", 0, "hub/leg/1: the last zeroing is taken back", ""},
		{"zero --source hub/leg --channels 5 --by E-01", 1, "channel 5 shows 7.0 mmHg", ""},
		{"zero --source leg --by E-01", 2, "want BRIDGE/SOURCE", ""},
		{"zero --source hub/leg", 2, "--by", ""},
	} {
		var out bytes.Buffer
		asked = nil
		args := append([]string{"calibrate"}, strings.Fields(c.args)...)
		if status := run(t.Context(), append(args, "-c", config), &out, &out); status != c.status || !strings.Contains(out.String(), c.says) {
			t.Errorf("%s: status %d, want %d with %q: %s", c.args, status, c.status, c.says, &out)
		}
		if n := len(asked); c.asks != "" && (n == 0 || asked[n-1] != c.asks) {
			t.Errorf("%s asks %q", c.args, asked)
		}
	}
}
