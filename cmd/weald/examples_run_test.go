package main

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/spf13/cobra"

	"weald/ingest/raced"
)

// Every example of every command does what it says, typed into a shell as it stands there,
// in a folder that has what it names; of each is looked at what would be otherwise if it
// did something else. An example that no part below types is a mistake.
func TestExamplesRun(t *testing.T) {
	t.Parallel()
	raced.Skip(t, "one command after the other")
	typed := &typing{typed: map[string]bool{}}
	examples(t, func(c *cobra.Command, args []string) {
		for line := range strings.Lines(c.Example) {
			typed.typed[strings.TrimSpace(line)] = false
		}
	})
	t.Run("parts", func(t *testing.T) {
		for name, part := range map[string]func(*testing.T, *typing){
			"with files and a daemon": examplesOfASite,
			"demonstrations":          examplesOfTheDemonstration,
			"many places":             examplesOfManyPlaces,
			"ports":                   examplesOfPorts,
		} {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				part(t, typed)
			})
		}
	})
	if t.Failed() || t.Skipped() {
		return
	}
	for line, was := range typed.typed {
		if !was {
			t.Errorf("nobody has typed %q", line)
		}
	}
	t.Logf("%d examples in %v of processor time", len(typed.typed), typed.took.Round(10*time.Millisecond))
}

// A typing is which examples have been typed.
type typing struct {
	mu    sync.Mutex
	typed map[string]bool
	took  time.Duration // of processors, by all commands
}

func (ty *typing) is(t *testing.T, line string) {
	t.Helper()
	ty.mu.Lock()
	defer ty.mu.Unlock()
	if _, is := ty.typed[line]; !is {
		t.Errorf("no command has the example %q", line)
	}
	ty.typed[line] = true
}

// A shell is a folder that commands are typed in.
type shell struct {
	t      *testing.T
	typing *typing
	dir    string
	env    []string

	// Of the machine, or of one record only, is what stands here for what an example has:
	// folders that not everybody may write to, ports that something else may have, ids.
	instead map[string]string
}

func newShell(t *testing.T, ty *typing, env ...string) *shell {
	t.Helper()
	dir := t.TempDir()
	bin := filepath.Join(dir, "bin")
	program, err := filepath.Abs(os.Args[0])
	if err == nil {
		err = os.Mkdir(bin, 0o700)
	}
	if err == nil {
		err = os.Symlink(program, filepath.Join(bin, "weald"))
	}
	if err != nil {
		t.Fatal(err)
	}
	return &shell{t: t, typing: ty, dir: dir, instead: map[string]string{},
		env: append(os.Environ(), append([]string{asProgram + "=1", "TZ=UTC", "HOME=" + dir, "PATH=" + bin + ":" + os.Getenv("PATH")}, env...)...)}
}

func (s *shell) path(name string) string { return filepath.Join(s.dir, name) }

func (s *shell) write(name, content string) {
	s.t.Helper()
	if err := os.WriteFile(s.path(name), []byte(content), 0o600); err != nil {
		s.t.Fatal(err)
	}
}

func (s *shell) read(name string) string {
	s.t.Helper()
	b, err := os.ReadFile(s.path(name))
	if err != nil {
		s.t.Error(err)
	}
	return string(b)
}

// command is a line as the shell gets it.
func (s *shell) command(line string) *exec.Cmd {
	for from, to := range s.instead {
		line = strings.ReplaceAll(line, from, to)
	}
	cmd := exec.Command("sh", "-c", "exec "+line)
	cmd.Dir, cmd.Env = s.dir, s.env
	return cmd
}

// weald types a line that needs not be an example, and returns what it says.
func (s *shell) weald(line string) string {
	s.t.Helper()
	cmd := s.command(line)
	cmd.Stdin = strings.NewReader("vier blaue Heringe\n") // a password, where one is asked for
	out, err := cmd.CombinedOutput()
	s.ended(cmd)
	if err != nil {
		s.t.Errorf("%s: %v: %s", line, err, out)
	}
	return string(out)
}

// does types an example, and looks whether it says all that is given, in regular
// expressions.
func (s *shell) does(line string, says ...string) string {
	s.t.Helper()
	s.typing.is(s.t, line)
	out := s.weald(line)
	for _, re := range says {
		if !regexp.MustCompile(re).MatchString(out) {
			s.t.Errorf("%s says %q, want %s", line, out, re)
		}
	}
	return out
}

// ended notes what a command has cost.
func (s *shell) ended(cmd *exec.Cmd) {
	s.typing.mu.Lock()
	defer s.typing.mu.Unlock()
	if p := cmd.ProcessState; p != nil {
		s.typing.took += p.UserTime() + p.SystemTime()
	}
}

// An ongoing command goes on until it is interrupted.
type ongoing struct {
	s    *shell
	line string
	cmd  *exec.Cmd
	in   io.Writer
	said log
	over bool
}

// lasts types an example, and more on its line, that goes on until it is ended.
func (s *shell) lasts(line string, more ...string) *ongoing {
	s.t.Helper()
	s.typing.is(s.t, line)
	return s.begins(strings.Join(append([]string{line}, more...), " "))
}

// begins types any line that goes on.
func (s *shell) begins(line string) *ongoing {
	s.t.Helper()
	l := &ongoing{s: s, line: line, cmd: s.command(line)}
	l.cmd.Stdout, l.cmd.Stderr = &l.said, &l.said
	var err error
	if l.in, err = l.cmd.StdinPipe(); err == nil {
		err = l.cmd.Start()
	}
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() {
		if !l.over {
			_ = l.cmd.Process.Kill()
			_ = l.cmd.Wait()
		}
	})
	return l
}

// says waits until it has said something, and returns what is behind that on the line.
func (l *ongoing) says(what string) (after string) {
	l.s.t.Helper()
	eventually(l.s.t, longEnough, func() error {
		_, rest, _ := strings.Cut(l.said.String(), what)
		var whole bool
		if after, _, whole = strings.Cut(rest, "\n"); !whole {
			return fmt.Errorf("%s says %s", l.line, l.said.String())
		}
		return nil
	})
	return strings.Trim(after, `" `)
}

// ends interrupts it, as Ctrl-C does.
func (l *ongoing) ends() {
	l.s.t.Helper()
	if err := l.cmd.Process.Signal(os.Interrupt); err != nil {
		l.s.t.Error(err)
	}
	l.is()
}

// is waits for its end.
func (l *ongoing) is() {
	l.s.t.Helper()
	l.over = true
	if err := l.cmd.Wait(); err != nil {
		l.s.t.Errorf("%s: %v: %s", l.line, err, l.said.String())
	}
	l.s.ended(l.cmd)
}
