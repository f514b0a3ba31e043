package config

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/rules"
	"weald/stream/journal"
	"weald/stream/selfwatch"
)

// A Config is a file in which nothing is wrong. Nobody changes it after Parse.
type Config struct {
	// Data is the folder that the daemon writes to, "" where the file names
	// none.
	Data string

	// Keep says for how long the record keeps what; what it does not name is
	// kept for ever.
	Keep journal.Limits

	// Listen is the address and port of the pages; beyond loopback only with TLS.
	Listen string

	// Accounts are required of whoever asks for something; Idle and Longest say for
	// how long a log-in lasts.
	Accounts      bool
	Idle, Longest time.Duration

	// OIDC is a directory at which people can log in too; nil where there is none.
	OIDC *OIDC

	// Names are under which the pages are asked for, beside the loopback names:
	// those of the file and the address of Listen, where that is one.
	Names []string

	// TLS is where the certificate of the pages is; nil for plain HTTP.
	TLS *TLS

	// MQTT is the daemon's own listener, nil where there is none.
	MQTT *Broker

	// Bridges are in the order of the file; so are the sources in them.
	Bridges []Bridge

	// Places are in the order of the file, as in the Plan.
	Places []Place

	// Notify are the ways on which messages about alerts go, in the order of the
	// file.
	Notify []Sender

	// Heartbeat is who is told that the daemon does its work; nil for nobody.
	Heartbeat *Heartbeat

	// Self is what the daemon watches of itself, in the order of selfwatch.Kinds.
	Self []selfwatch.Setting

	// Cluster is where the record is kept beside this machine; nil for nowhere.
	Cluster *Cluster

	// Path is what the file was called, with # and the name of the share behind it where
	// this is one of its shares, and Text what was in it.
	Path, Text string

	plan *rules.Plan
	file shape.File
}

// Plan returns what the rules need to know; rules.Plan.Check finds nothing
// wrong with it. It is shared: nobody may change it.
func (c *Config) Plan() *rules.Plan { return c.plan }

// A Problem is one thing that is wrong with a file.
type Problem struct {
	File         string
	Line, Column int    // from 1, columns in characters; 0 where there is no place
	Message      string // what is wrong, and what would be right
}

// String returns file:line:column: message.
func (p Problem) String() string {
	if p.Line == 0 {
		return p.File + ": " + p.Message
	}
	return fmt.Sprintf("%s:%d:%d: %s", p.File, p.Line, p.Column, p.Message)
}

// Problems are everything that is wrong with a file, sorted by place. Nil means
// that nothing is; test with len or Err, for an interface that holds a nil
// Problems is not nil.
type Problems []Problem

// Error returns one line for each problem, without a line feed at the end.
func (p Problems) Error() string {
	var b strings.Builder
	for i, problem := range p {
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(problem.String())
	}
	return b.String()
}

// Err returns p as an error, and nil where nothing is wrong.
func (p Problems) Err() error {
	if len(p) == 0 {
		return nil
	}
	return p
}

// Load reads the file at path, or one of its shares (see File). It returns either a
// Config or problems; a file that cannot be read is a problem without a place.
func Load(path string) (*Config, Problems) {
	file, _ := cutShare(path)
	b, unread := contents(file)
	if unread != nil {
		return nil, unread
	}
	return Parse(path, b)
}

// contents returns what is in a file, or why it cannot be read.
func contents(path string) ([]byte, Problems) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
	case info.Size() > tree.MaxBytes: // not worth reading
		return nil, Problems{{File: path, Message: fmt.Sprintf("the file has %d bytes: give one of at most %d", info.Size(), tree.MaxBytes)}}
	default:
		var b []byte
		if b, err = os.ReadFile(path); err == nil {
			return b, nil
		}
	}
	return nil, Problems{{File: path, Message: fmt.Sprintf("cannot be read: %v: give the path of a configuration file", cause(err))}}
}

// cause drops the path from err, which the problem names already.
func cause(err error) error {
	if e, ok := err.(*os.PathError); ok {
		return e.Err
	}
	return err
}

// Parse reads a configuration that is in memory, or one of its shares. name is what
// problems call it, and relative paths in it are relative to the folder of name.
func Parse(name string, b []byte) (*Config, Problems) {
	file, share := cutShare(name)
	c, found := parseFile(file, b)
	if len(found) > 0 || share == "" {
		return c, found
	}
	return c.share(share)
}

func parseFile(name string, b []byte) (*Config, Problems) {
	d, ok := tree.Parse(b)
	if !ok {
		return nil, problems(name, d)
	}
	r := reader{doc: d, folder: filepath.Dir(name), sources: map[string]int{}, clients: map[[2]string]string{}}
	d.Decode(&r.file)
	c := r.config()
	if found := problems(name, d); len(found) > 0 {
		return nil, found
	}
	c.Path, c.Text, c.file = name, string(b), r.file
	return c, nil
}

func problems(name string, d *tree.Doc) Problems {
	var out Problems
	for _, p := range d.Problems() {
		out = append(out, Problem{name, p.Line, p.Column, p.Message})
	}
	return out
}

// A reader makes a Config of a decoded file. It goes on after a problem, with
// values that may then make no sense; the Config is thrown away in the end.
type reader struct {
	doc    *tree.Doc
	file   shape.File
	folder string // of the configuration file

	plan    rules.Plan
	sources map[string]int // by "bridge/source": index into plan.Sources
	makes   []made         // calibrations that sources have, so far

	ports   []listener           // that are listened on so far
	clients map[[2]string]string // whose they are, by broker and client id
}

func (r *reader) config() *Config {
	c := &Config{
		Data:   r.path(r.file.Data, r.folder),
		Keep:   r.keep(),
		Listen: r.listen(),
		MQTT:   r.broker(),
	}
	r.accounts(c)
	c.OIDC = r.oidc()
	c.Names = r.hostNames()
	c.TLS = r.tls(c.Names)
	c.Bridges = r.bridges()
	c.Places = r.places()
	c.Notify = r.notify()
	c.Heartbeat = r.heartbeat()
	c.Self = r.self()
	c.Cluster = r.cluster()
	r.rules()
	r.check()
	c.plan = &r.plan
	return c
}

// path makes a relative path one that is relative to folder.
func (r *reader) path(path, folder string) string {
	if path == "" || filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(folder, path)
}

// unique reports an id that an earlier member of the list at list has.
func (r *reader) unique(seen map[string]tree.Path, id, what string, path tree.Path) {
	if first, again := seen[id]; again && id != "" {
		r.doc.Report(path, "%s %q is used twice, first on line %d: give each %s its own", path.Name(), id, r.doc.Line(first), what)
		return
	}
	seen[id] = path
}
