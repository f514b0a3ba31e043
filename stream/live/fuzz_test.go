package live

import (
	"errors"
	"strings"
	"testing"
	"time"
)

// Whatever a viewer says is a subscription, a confirmation, or the end of its
// connection with a reason that fits into a closing frame (RFC 6455, 5.5: 125 bytes, of
// which two are the code).
func FuzzRequest(f *testing.F) {
	f.Add([]byte(`{"subscribe":{"places":"all","signals":["bench-1/*"],"maps":[],"bare":true}}`))
	f.Add([]byte(`{"got":1}`))
	f.Add([]byte(`{"got":1,"subscribe":{}}`))
	f.Add([]byte(`{"subscribe":{"places":["*` + strings.Repeat("*a", 100) + `"]}}`))
	f.Fuzz(func(t *testing.T, body []byte) {
		if len(body) > readLimit {
			return
		}
		asked, confirmed, err := parse(body)
		switch {
		case err != nil:
			if e := (*end)(nil); !errors.As(err, &e) || e.reason == "" || len(e.reason) > 123 || e.why == "" {
				t.Errorf("%q ends with %v", body, err)
			}
		case (asked == nil) == (confirmed == nil):
			t.Errorf("%q is both or neither", body)
		case confirmed != nil:
			var w flow
			if _, err := w.confirm(*confirmed, time.Unix(0, 0)); err == nil && *confirmed != 0 {
				t.Errorf("%q confirms a frame that was not sent", body)
			}
		default:
			for _, list := range []names{asked.Places, asked.Signals, asked.Maps} {
				list.match("bench-1/ankle.pressure")
			}
		}
	})
}
