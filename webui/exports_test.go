package webui

import (
	"context"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/stream/history"
	"weald/stream/journal/journaltest"
	"weald/stream/order"
	"weald/webui/api"
)

// newExportingStack is a stack with somebody who makes exports: of "edf" none.
func newExportingStack(t *testing.T) *stack {
	s := newStack(t, built)
	desk := order.New(filepath.Join(t.TempDir(), "exports"), func(ctx context.Context, a order.Ask, folder string, tell func(float64)) ([]order.File, []string, error) {
		if a.Format == "edf" {
			tell(0.25)
			<-ctx.Done()
			return nil, nil, context.Cause(ctx)
		}
		return []order.File{{Name: "bed-4.csv", Bytes: 3, Rows: 1}}, nil, os.WriteFile(filepath.Join(folder, "bed-4.csv"), []byte("a,b"), 0o600)
	})
	ctx, stop := context.WithCancel(context.Background())
	var running sync.WaitGroup
	running.Go(func() { _ = desk.Run(ctx) })
	t.Cleanup(func() { stop(); running.Wait() })
	plan := wardPlan()
	mux := http.NewServeMux()
	api.Register(mux, api.Options{
		Plan: plan, Pipeline: s.pipe, Store: history.New(len(plan.Places), s.pipe.Series), Record: new(journaltest.Memory), Config: 7,
		Bridges: func() []api.Bridge { return nil }, Exports: desk,
		Kept: func() api.Kept { return api.Kept{Since: time.Now(), Until: time.Now(), Bytes: 9, Free: 99} },
	})
	s.handler = mux
	return s
}

type exportView struct {
	ID, State string
	Share     float64
	Files     []struct{ Name string }
}

// become waits until an export is in a state.
func (s *stack) become(id, state string) exportView {
	s.t.Helper()
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(time.Millisecond) {
		e := decoded[exportView](s, "/api/v1/exports/"+id)
		if e.State == state {
			return e
		}
		if time.Now().After(end) {
			s.t.Fatalf("it is %+v, not %s", e, state)
		}
	}
}

func TestExportsAreAsDocumented(t *testing.T) {
	s := newExportingStack(t)
	c := newContract(t, s)
	const all, one = "/api/v1/exports", "/api/v1/exports/{export}"
	for body, status := range map[string]int{
		`{"place": "nowhere", "format": "csv"}`: 404,
		`{"place": "bed-4", "format": "xls"}`:   422,
		`{"place": "bed-4", "format": "csv", "from": "2026-03-02T00:00:00Z", "to": "2026-03-01T00:00:00Z"}`: 422,
	} {
		rec := s.post(all, body)
		if rec.Code != status {
			t.Errorf("%s: %d %s", body, rec.Code, rec.Body)
		}
		c.checkOf("post", all, rec)
	}
	ask := func(body string) string {
		t.Helper()
		rec := s.post(all, body)
		c.checkOf("post", all, rec)
		_, after, _ := strings.Cut(rec.Body.String(), `"id":"`)
		id, _, _ := strings.Cut(after, `"`)
		return id
	}
	id := ask(`{"place": "bed-4", "format": "csv", "from": "2026-03-01T00:00:00Z"}`)
	e := s.become(id, "made")
	if e.Share != 1 || len(e.Files) != 1 {
		t.Fatalf("%+v", e)
	}
	path := all + "/" + id
	rec := s.get(path + "/files/" + e.Files[0].Name)
	if rec.Code != 200 || rec.Body.String() != "a,b" || rec.Header().Get("Content-Disposition") != "attachment; filename=bed-4.csv" ||
		rec.Header().Get("Content-Type") != "application/octet-stream" {
		t.Errorf("%d %q %v", rec.Code, rec.Body, rec.Header())
	}
	slow := ask(`{"place": "bed-4", "format": "edf"}`)
	s.become(slow, "making")
	stopped := s.post(all+"/"+slow+"/stop", "")
	if stopped.Code != 200 || !strings.Contains(stopped.Body.String(), `"stopped"`) {
		t.Errorf("%d %s", stopped.Code, stopped.Body)
	}
	c.checkOf("post", one+"/stop", stopped)
	for path, check := range map[string]struct {
		of     string
		status int
	}{
		all: {all, 200}, path: {one, 200}, all + "/x-none": {one, 404},
		path + "/files/c.csv": {one + "/files/{name}", 404}, all + "/" + slow + "/files/a": {one + "/files/{name}", 409},
		"/api/v1/record": {"/api/v1/record", 200},
	} {
		rec := s.get(path)
		if rec.Code != check.status {
			t.Errorf("%s: %d %s", path, rec.Code, rec.Body)
		}
		c.check(check.of, rec)
	}
	s.post("/api/v1/places/bed-4/marks", `{"what": "turned"}`)
	if rec := s.get("/api/v1/record"); strings.Count(rec.Body.String(), `"since":null`) != 4 {
		t.Errorf("with readings and a mark: %s", rec.Body)
	}
}

func TestNothingIsExportedWithoutARecord(t *testing.T) {
	s := newStack(t, built)
	for _, rec := range []*httptest.ResponseRecorder{
		s.get("/api/v1/exports"), s.get("/api/v1/exports/x"), s.get("/api/v1/exports/x/files/a"), s.get("/api/v1/record"),
		s.post("/api/v1/exports", `{"place": "bed-4", "format": "csv"}`), s.post("/api/v1/exports/x/stop", ""),
	} {
		if rec.Code != 503 || !strings.Contains(rec.Body.String(), "names no folder") {
			t.Errorf("%d %s", rec.Code, rec.Body)
		}
	}
}
