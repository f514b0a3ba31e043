package paper

import (
	_ "embed"
	"html/template"
	"io"
)

//go:embed frame.html
var frame string

// cautions are what every page says, after what it has to say of its own.
var cautions = []string{
	"A research and training aid: not a medical device, not an alarm system, not a diagnosis. It supports, and never replaces, looking at the skin. Local policy and the responsible clinician decide.",
	"Compression with poor arterial supply can cost a limb; assessment belongs to trained staff.",
}

// A Page is a template in the frame.
type Page struct{ t *template.Template }

// New returns the page with the given templates: "body", and "end" for what comes
// after the cautions. It panics if they are wrong, which is a fault of the program.
func New(templates string, functions template.FuncMap) *Page {
	t := template.Must(template.New("frame").Funcs(functions).Parse(frame))
	return &Page{template.Must(t.Parse(templates))}
}

// Write writes a page. Its own cautions come before those of all pages; program is the
// name and version of what makes it, which is not said where it is empty.
func (p *Page) Write(w io.Writer, title string, own []string, program string, data any) error {
	return p.t.ExecuteTemplate(w, "frame", struct {
		Title    string
		Cautions []string
		Program  string
		Data     any
	}{title, append(own[:len(own):len(own)], cautions...), program, data})
}
