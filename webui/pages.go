package webui

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
	"sync"
)

// A page is a file that a browser can ask for.
type page struct {
	body   []byte
	zipped func() []byte // made when it is first asked for; nil where it would gain nothing
	kind   string        // content type
	tag    string
	cache  string
}

// pages serves the built files from memory, and the index for every other path,
// since the pages find their own way.
type pages struct {
	files map[string]*page // by URL path
	index *page            // nil where nothing was built
}

func newPages(built fs.FS) (*pages, error) {
	p := &pages{files: make(map[string]*page)}
	err := fs.WalkDir(built, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasPrefix(path.Base(name), ".") {
			return err
		}
		body, err := fs.ReadFile(built, name)
		if err != nil {
			return err
		}
		p.files["/"+name] = newPage(name, body)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("built pages: %w", err)
	}
	p.index = p.files["/index.html"]
	return p, nil
}

func newPage(name string, body []byte) *page {
	sum := sha256.Sum256(body)
	p := &page{
		body: body,
		zipped: sync.OnceValue(func() []byte {
			// Neither fails, as it goes into memory and the level is one that there is.
			var zipped bytes.Buffer
			w, _ := gzip.NewWriterLevel(&zipped, gzip.BestCompression)
			_, _ = w.Write(body)
			_ = w.Close()
			if zipped.Len() >= len(body)*9/10 {
				return nil
			}
			return zipped.Bytes()
		}),
		kind:  mime.TypeByExtension(path.Ext(name)),
		tag:   `"` + hex.EncodeToString(sum[:12]) + `"`,
		cache: "no-cache",
	}
	switch {
	case path.Ext(name) == ".webmanifest":
		p.kind = "application/manifest+json" // which not every system knows
	case p.kind == "":
		p.kind = "application/octet-stream"
	}
	if strings.HasPrefix(name, "assets/") {
		// The build puts a hash of the content into these names.
		p.cache = "public, max-age=31536000, immutable"
	}
	return p
}

// ServeHTTP answers GET and HEAD.
func (p *pages) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		http.Error(w, "pages can only be read", http.StatusMethodNotAllowed)
		return
	}
	found := p.files[r.URL.Path]
	if found == nil {
		found = p.files[path.Join(r.URL.Path, "index.html")] // that of a folder: /seat/
	}
	if found == nil {
		if strings.Contains(path.Base(r.URL.Path), ".") {
			http.Error(w, "there is no such file", http.StatusNotFound)
			return
		}
		if p.index == nil {
			notBuilt(w)
			return
		}
		found = p.index
	}
	found.write(w, r)
}

func (p *page) write(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Type", p.kind)
	h.Set("Cache-Control", p.cache)
	h.Set("Etag", p.tag)
	body := p.body
	if zipped := p.zipped(); zipped != nil {
		h.Set("Vary", "Accept-Encoding")
		if acceptsGzip(r.Header.Get("Accept-Encoding")) {
			h.Set("Content-Encoding", "gzip")
			body = zipped
		}
	}
	if strings.Contains(r.Header.Get("If-None-Match"), p.tag) {
		h.Del("Content-Encoding")
		w.WriteHeader(http.StatusNotModified)
		return
	}
	h.Set("Content-Length", fmt.Sprint(len(body)))
	if r.Method == http.MethodGet {
		// An error means that the client is gone.
		_, _ = w.Write(body)
	}
}

// acceptsGzip reads an Accept-Encoding header.
func acceptsGzip(header string) bool {
	for offer := range strings.SplitSeq(header, ",") {
		name, weight, _ := strings.Cut(offer, ";")
		if strings.TrimSpace(name) == "gzip" {
			q := strings.ReplaceAll(weight, " ", "")
			return q != "q=0" && q != "q=0.0" && q != "q=0.00" && q != "q=0.000"
		}
	}
	return false
}

// notBuilt says what is missing, to a person who has just cloned the project.
func notBuilt(w http.ResponseWriter) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(http.StatusServiceUnavailable)
	fmt.Fprint(w, `<!doctype html>
<html lang="en"><meta charset="utf-8"><title>weald: the pages are not built</title>
<h1>The pages are not built</h1>
<p>The daemon runs, but it was compiled without its pages. Run <code>make</code> in the project's folder and start it again.</p>
<p>What programs can read is there: <a href="/api/v1/places">places</a>, <a href="/api/v1/alerts">alerts</a>,
<a href="/api/v1/bridges">bridges</a>, <a href="/readyz">readiness</a>, <a href="/metrics">metrics</a>,
<a href="/api/v1/openapi.json">what there is</a>.</p>
`)
}
