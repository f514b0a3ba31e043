package webui

import (
	"compress/gzip"
	"net/http"
	"strings"
	"sync"
)

// zipFrom is the size in bytes from which an answer is compressed.
const zipFrom = 1024

var zippers = sync.Pool{New: func() any {
	w, err := gzip.NewWriterLevel(nil, gzip.BestSpeed)
	if err != nil {
		panic("webui: " + err.Error()) // the level is a constant
	}
	return w
}}

// zip compresses JSON for those who accept it: an hour of a leg is hundreds of
// kilobytes of text, and a phone on a ward has a thin link. Nothing in these
// answers is secret from whoever asks, so their length gives nothing away.
func zip(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !acceptsGzip(r.Header.Get("Accept-Encoding")) {
			next.ServeHTTP(w, r)
			return
		}
		z := &zipped{ResponseWriter: w}
		defer z.close()
		next.ServeHTTP(z, r)
	})
}

// zipped decides with the first write. Handlers here write their whole body at
// once.
type zipped struct {
	http.ResponseWriter
	status  int
	decided bool
	gzip    *gzip.Writer // nil for plain
}

// WriteHeader waits until it is known whether the body will be compressed.
func (z *zipped) WriteHeader(status int) {
	if z.status == 0 {
		z.status = status
	}
}

// Write implements http.ResponseWriter.
func (z *zipped) Write(p []byte) (int, error) {
	if !z.decided {
		z.decide(p)
	}
	if z.gzip != nil {
		return z.gzip.Write(p)
	}
	return z.ResponseWriter.Write(p)
}

func (z *zipped) decide(p []byte) {
	z.decided = true
	h := z.Header()
	h.Add("Vary", "Accept-Encoding")
	if len(p) >= zipFrom && strings.Contains(h.Get("Content-Type"), "json") {
		h.Set("Content-Encoding", "gzip")
		h.Del("Content-Length")
		z.gzip = zippers.Get().(*gzip.Writer)
		z.gzip.Reset(z.ResponseWriter)
	}
	z.flushHeader()
}

func (z *zipped) flushHeader() {
	if z.status != 0 {
		z.ResponseWriter.WriteHeader(z.status)
	}
}

func (z *zipped) close() {
	if !z.decided {
		z.flushHeader()
	}
	if z.gzip != nil {
		// An error means that the client is gone.
		_ = z.gzip.Close()
		zippers.Put(z.gzip)
	}
}
