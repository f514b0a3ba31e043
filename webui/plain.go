package webui

import (
	"bytes"
	"html/template"
	"net/http"

	"weald/webui/api"
)

// The frame of the pages that a machine shows which has no ward of its own to show: they
// need nothing but themselves, ask again by themselves, and end with what every page says.
const (
	plainHead = `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="refresh" content="5">
<title>`
	plainBody = `</title>
<link rel="stylesheet" href="/standby.css">
</head>
<body>
<main>
<h1>`
	plainFoot = `
<footer>A research and training aid: not a medical device, not an alarm system, not a diagnosis. It supports, and never replaces, looking at the skin. Local policy and the responsible clinician decide.</footer>
</main>
</body>
</html>
`
)

// A plain is such a page.
type plain struct{ t *template.Template }

// newPlain returns the page with the given templates of its title and of what comes below
// it. It panics if they are wrong, which is a fault of the program.
func newPlain(title, below string, functions template.FuncMap) plain {
	return plain{template.Must(template.New("plain").Funcs(functions).Parse(plainHead + title + plainBody + title + "</h1>\n" + below + plainFoot))}
}

// show answers with the page of data.
func (p plain) show(w http.ResponseWriter, status int, data any) {
	var b bytes.Buffer
	if err := p.t.Execute(&b, data); err != nil {
		api.Problem(w, http.StatusInternalServerError, err.Error())
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes())
}
