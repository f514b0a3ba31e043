package webui

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal/journaltest"
)

type attemptAnswer struct {
	ID, State, Next string
	Readings        []struct{ Step string }
	Plan            struct {
		Sites []struct{ Low, High *float64 }
	}
	Result struct {
		Class string
		Sites []struct {
			ID, Verdict, Fault string
			Lying, Stiffness   struct{ Value, U *float64 }
			Laplace            *float64
		}
	}
}

// rests puts a minute of readings, ten a second, of a leg that is still, ended so long
// ago.
func (s *stack) rests(ended time.Duration, ankle, calf float64) {
	s.t.Helper()
	now, before := s.clock.Now(), s.pipe.Load().Scans
	for i := range 600 {
		scan := sample.Scan{Source: 0, Values: []float64{ankle, calf}, Arrived: now}
		scan.At = now.Add(time.Duration(i-600)*100*time.Millisecond - ended)
		if err := s.pipe.Put(context.Background(), &scan); err != nil {
			s.t.Fatal(err)
		}
	}
	for s.pipe.Load().Scans < before+600 {
		time.Sleep(time.Millisecond)
	}
}

func TestALessonIsAsDocumented(t *testing.T) {
	s := newRecordingStack(t, new(journaltest.Memory))
	c := newContract(t, s)
	const all, one = "/api/v1/attempts", "/api/v1/attempts/{attempt}"
	var last attemptAnswer
	ask := func(method, path, ask, body string, status int, says string) {
		t.Helper()
		ask = strings.ReplaceAll(ask, "ID", last.ID)
		q := httptest.NewRequest(strings.ToUpper(method), ask, strings.NewReader(body))
		q.Header.Set("Content-Type", "application/json")
		rec := s.do(q)
		if rec.Code != status || !strings.Contains(rec.Body.String(), says) || strings.Contains(rec.Body.String(), "Pat") {
			t.Fatalf("%s %s %s: %d, want %d with %q: %s", method, ask, body, rec.Code, status, says, rec.Body)
		}
		c.checkOf(method, path, rec)
		if status == 201 {
			last = attemptAnswer{}
			if err := json.Unmarshal(rec.Body.Bytes(), &last); err != nil {
				t.Fatal(err)
			}
		}
	}
	ask("get", all, all, "", 200, `"attempts":[]`)
	ask("get", "/api/v1/compression", "/api/v1/compression", "", 200, "RAL-GZ 387/1")
	// Thomas, World Wide Wounds, June 2003: 1 kgf, 2 layers, 25 cm, 10 cm wide give 36.96
	// mmHg with the rounded constant.
	ask("get", "/api/v1/compression/prediction", "/api/v1/compression/prediction?newtons=9.80665&layers=2&width_cm=10&girth_cm=25&girth_cm=0", "", 200, `"laplace":36.9732`)
	ask("post", all, all, `{"place": "bench-1", "code": "Pat Larch"}`, 422, "names are not kept")
	ask("post", all, all, `{"place": "bench-1", "code": "K-07", "lesson": "Pat Larch"}`, 422, "names are not kept")
	ask("post", all, all, `{"place": "bed-4", "code": "K-07"}`, 422, "is no wrap")
	ask("post", all, all, `{"place": "nowhere", "code": "K-07"}`, 404, "there is no place")
	ask("post", all, all, `{"place": "bench-1", "code": "K-07", "scheme": "ral", "class": "V"}`, 422, "there is no class")
	ask("post", all, all, `{"place": "bench-1", "code": "K-07", "sites": [{"id": "soul"}]}`, 422, "has no site")
	ask("post", all, all, `{"place": "bench-1", "code": "K-07", "sites": [{"id": "calf", "low": 20}]}`, 422, "lower and a higher")
	ask("post", one+"/readings", all+"/none/readings", `{"step": "bare", "seen": 0}`, 404, "there is no try")

	// The first try, by the configuration's target and a band of one's own.
	ask("post", all, all, `{"place": "bench-1", "code": "K-07", "lesson": "L-3", "author": "T-1", "newtons": 4.903325, "layers": 2, "width_cm": 10,
		"sites": [{"id": "ankle", "girth_cm": 22}, {"id": "calf", "girth_cm": 35, "low": 20, "high": 30}]}`, 201, `"next":"bare"`)
	if sites := last.Plan.Sites; *sites[0].Low != 35 || *sites[1].High != 30 {
		t.Errorf("bands %+v", sites)
	}
	ask("post", all, all, `{"place": "bench-1", "code": "K-08"}`, 409, "K-07 is still at it")
	ask("post", one+"/readings", all+"/ID/readings", `{"step": "lying", "seen": 0}`, 409, "still for some seconds")
	s.rests(time.Minute, 40, 28)
	ask("post", one+"/readings", all+"/ID/readings", `{"step": "applied", "seen": 0}`, 201, `"next":"lying"`)
	ask("post", one+"/readings", all+"/ID/readings", `{"step": "lying", "seen": 0}`, 409, "somebody else")
	ask("post", one+"/readings", all+"/ID/readings", `{"step": "lying", "seen": 1}`, 201, `"next":"standing"`)
	ask("post", one+"/readings", all+"/ID/readings", `{"step": "walking", "seen": 2}`, 409, "even steps")
	s.rests(0, 58, 36)
	ask("post", one+"/readings", all+"/ID/readings", `{"step": "standing", "seen": 2}`, 201, `"next":"walking"`)
	ankle, calf := last.Result.Sites[0], last.Result.Sites[1]
	if *ankle.Stiffness.Value != 18 || *ankle.Lying.U != 1.8 || ankle.Verdict != "inside" || calf.Verdict != "inside" || *ankle.Laplace < 21 || *ankle.Laplace > 21.01 {
		t.Errorf("%+v", last.Result)
	}
	ask("post", one+"/end", all+"/ID/end", `{"notes": "pulled well", "author": "T-1"}`, 201, `"state":"ended"`)
	ask("post", one+"/end", all+"/ID/end", `{}`, 409, "was over")
	ask("post", one+"/readings", all+"/ID/readings", `{"step": "walking", "seen": 3}`, 409, "was over")
	ask("get", one, all+"/ID", "", 200, "pulled well")

	// The second one, for a class, is broken off.
	ask("post", all, all, `{"place": "bench-1", "code": "K-08", "lesson": "L-3", "scheme": "ral", "class": "IV"}`, 201, `"high":null`)
	ask("post", one+"/leave", all+"/ID/leave", `{}`, 201, `"state":"left"`)
	ask("get", all, all+"?lesson=L-3&state=ended", "", 200, `"code":"K-07"`)
	if n := strings.Count(s.get(all+"?lesson=L-3").Body.String(), `"begun_at"`); n != 2 {
		t.Errorf("%d tries in the lesson", n)
	}

	table := s.get(all + ".csv?state=ended")
	if kind := table.Header().Get("Content-Type"); table.Code != 200 || kind != "text/csv" {
		t.Errorf("table: %d %s", table.Code, kind)
	}
	rows, err := csv.NewReader(strings.NewReader(table.Body.String())).ReadAll()
	if err != nil || len(rows) != 3 {
		t.Fatalf("%v, %d rows: %q", err, len(rows), rows)
	}
	cells := map[string]string{}
	for i, column := range rows[0] {
		cells[column] = rows[1][i]
	}
	for column, want := range map[string]string{"code": "K-07", "lesson": "L-3", "site": "ankle", "lying_mmhg": "40", "verdict": "inside", "stiffness_mmhg": "18", "bare_mmhg": "", "walking_amplitude_mmhg": "", "author": "T-1"} {
		if cells[column] != want {
			t.Errorf("%s is %q, want %q", column, cells[column], want)
		}
	}
}
