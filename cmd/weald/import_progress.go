package main

import (
	"fmt"
	"io"
	"os"
	"time"
)

// How often progress is told: to a person at a terminal, and to a log.
const (
	tellPerson = 200 * time.Millisecond
	tellLog    = 10 * time.Second
)

// A progress tells how far a long piece of work has come: on one line that is
// written over again at a terminal, else as a line now and then. Work that is
// done before the first telling is due is not told of at all.
type progress struct {
	w     io.Writer
	name  string
	line  bool // w is a terminal
	every time.Duration
	told  time.Time
	shown bool // a line stands unfinished
}

func newProgress(w io.Writer, name string) *progress {
	p := &progress{w: w, name: name, every: tellLog, told: time.Now()}
	if f, ok := w.(*os.File); ok {
		if info, err := f.Stat(); err == nil && info.Mode()&os.ModeCharDevice != 0 {
			p.line, p.every = true, tellPerson
		}
	}
	return p
}

// tell says that so many bytes, 0 where they are not counted, and such a share of
// the work, 0 to 1, are done.
func (p *progress) tell(bytes int64, share float64) {
	if time.Since(p.told) < p.every {
		return
	}
	p.told = time.Now()
	text := fmt.Sprintf("%s: %3.0f %%", p.name, share*100)
	if bytes > 0 {
		text += fmt.Sprintf(", %.1f MB", float64(bytes)/1e6)
	}
	if !p.line {
		fmt.Fprintln(p.w, text)
		return
	}
	fmt.Fprintf(p.w, "\r\x1b[K%s", text)
	p.shown = true
}

// end takes an unfinished line away.
func (p *progress) end() {
	if p.shown {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
}

// tellPages says that so many pages of a record, of those that are known of, are
// copied.
func (p *progress) tellPages(copied, known int64) {
	p.tell(copied*4096, float64(copied)/float64(max(known, 1)))
}
