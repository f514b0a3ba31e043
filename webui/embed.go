package webui

import (
	"embed"
	"io/fs"
)

// The pages as they were built; nothing but .keep before that.
//
//go:embed all:dist
var dist embed.FS

// Pages returns the built pages.
func Pages() fs.FS {
	pages, err := fs.Sub(dist, "dist")
	if err != nil {
		panic("webui: " + err.Error()) // the directory is named right above
	}
	return pages
}
