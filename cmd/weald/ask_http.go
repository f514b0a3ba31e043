package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"time"
)

// webClient asks a running daemon on this machine what its pages ask it.
var webClient = http.Client{Timeout: 15 * time.Second, Transport: pinning}

// asKey is the key of a context's token, with which a command asks a daemon that has
// accounts.
type asKey struct{}

// mostSaid is how much of an answer is read.
const mostSaid = 16 << 20

func getJSON[T any](ctx context.Context, url string) (T, error) {
	return askHTTP[T](ctx, http.MethodGet, url, nil)
}

func postJSON[T any](ctx context.Context, url string, body any) (v T, err error) {
	b, err := json.Marshal(body)
	if err != nil {
		return v, err
	}
	return askHTTP[T](ctx, http.MethodPost, url, b)
}

// askHTTP asks; the error is what the daemon says of it.
func askHTTP[T any](ctx context.Context, method, url string, body []byte) (v T, err error) {
	r, err := http.NewRequestWithContext(ctx, method, url, bytes.NewReader(body))
	if err != nil {
		return v, err
	}
	if body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	if token, ok := ctx.Value(asKey{}).(string); ok {
		r.Header.Set("Authorization", "Bearer "+token)
	}
	answer, err := webClient.Do(r)
	if err != nil {
		return v, fmt.Errorf("no daemon answers: %w", err)
	}
	defer answer.Body.Close()
	in := json.NewDecoder(io.LimitReader(answer.Body, mostSaid))
	if answer.StatusCode >= http.StatusBadRequest {
		var problem struct {
			Detail string
			Errors []struct{ Message string }
		}
		if err := in.Decode(&problem); err != nil || problem.Detail == "" {
			return v, fmt.Errorf("the running daemon answers %s", answer.Status)
		}
		for _, e := range problem.Errors {
			problem.Detail += "; " + e.Message
		}
		return v, fmt.Errorf("the running daemon says: %s", problem.Detail)
	}
	if err := in.Decode(&v); err != nil {
		return v, fmt.Errorf("the running daemon's answer: %w", err)
	}
	return v, nil
}
