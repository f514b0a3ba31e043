package directory

import (
	"io"
	"net/http"
)

// bounded reads no more of an answer than an honest one has.
type bounded struct{ http.RoundTripper }

// RoundTrip implements http.RoundTripper.
func (b bounded) RoundTrip(r *http.Request) (*http.Response, error) {
	answer, err := b.RoundTripper.RoundTrip(r)
	if err == nil {
		answer.Body = &some{io.LimitReader(answer.Body, mostAnswer), answer.Body}
	}
	return answer, err
}

type some struct {
	io.Reader
	io.Closer
}
