package emulate

import (
	_ "embed"
	"strconv"
	"strings"
	"text/template"
)

//go:embed larch.yaml.tmpl
var larchText string

// larchTemplate has no logic that could fail on some machine only; that it
// parses is tested by every use.
var larchTemplate = template.Must(template.New("larch.yaml").Funcs(template.FuncMap{
	// Quotes of Go are quotes of YAML for every path that is printable.
	"quote": strconv.Quote,
}).Parse(larchText))

// larchConfig returns the daemon's configuration for the ward with its ports at
// paths.
func larchConfig(dir, listen string, paths map[string]string) (string, error) {
	var b strings.Builder
	err := larchTemplate.Execute(&b, map[string]any{"Dir": dir, "Listen": listen, "Ports": paths})
	return b.String(), err
}
