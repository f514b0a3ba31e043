package webhook

import (
	"bufio"
	"bytes"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/notify/notifytest"
)

// The receiver that webui/src/notes/ward.md shows takes what is sent, once, and refuses what
// somebody else signed.
func TestTheReceiverThatIsShown(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("no python3 to run the receiver that is shown")
	}
	text, err := os.ReadFile("../../../webui/src/notes/ward.md")
	if err != nil {
		t.Fatal(err)
	}
	_, code, found := bytes.Cut(text, []byte("```python\n"))
	code, _, closed := bytes.Cut(code, []byte("```\n"))
	if !found || !closed || !bytes.Contains(code, []byte(`("127.0.0.1", 9000)`)) {
		t.Fatal("webui/src/notes/ward.md has no receiver")
	}
	address := wiretest.Vacant(t)
	_, port, _ := strings.Cut(address, ":")
	dir := t.TempDir()
	for name, text := range map[string][]byte{"desk.py": bytes.Replace(code, []byte("9000"), []byte(port), 1), "desk.secret": []byte(planted + "\n")} {
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.CommandContext(t.Context(), python, "desk.py")
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "PYTHONUNBUFFERED=1") // what it prints is there when it has answered
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { cmd.Process.Kill(); cmd.Wait() }()
	h := &Hook{URL: "http://" + address + "/", Secret: notifytest.Secret(t, planted)}
	s := notifytest.Call()
	s.At = sample.At(time.Now())
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if err = h.Send(t.Context(), s); err == nil || time.Now().After(end) {
			break
		}
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := h.Send(t.Context(), s); err != nil { // again, with the same key
		t.Error(err)
	}
	other := &Hook{URL: h.URL, Secret: notifytest.Secret(t, "of somebody else")}
	if err := other.Send(t.Context(), s); err == nil || !strings.Contains(err.Error(), "401") {
		t.Errorf("another's signature: %v", err)
	}
	old := notifytest.Call()
	old.At = sample.At(time.Now().Add(-time.Hour))
	if err := h.Send(t.Context(), old); err == nil || !strings.Contains(err.Error(), "401") {
		t.Errorf("an old timestamp: %v", err)
	}
	answer, err := http.Post(h.URL, "application/json", strings.NewReader("{}"))
	if err != nil {
		t.Fatal(err)
	}
	io.Copy(io.Discard, answer.Body)
	answer.Body.Close()
	if answer.StatusCode != http.StatusUnauthorized {
		t.Errorf("unsigned: %s", answer.Status)
	}
	cmd.Process.Kill() // now and then it is deaf to an interrupt
	lines := bufio.NewScanner(out)
	var got []string
	for lines.Scan() {
		got = append(got, lines.Text())
	}
	if len(got) != 1 || !strings.HasPrefix(got[0], "call bed-4: not turned for 2 h") {
		t.Errorf("it printed %q", got)
	}
}
