package main

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

// words splits a line of an example as a shell would: blanks, 'quotes', and a comment.
func words(line string) (all []string) {
	var word strings.Builder
	open, quoted := false, false
	end := func() {
		if open {
			all = append(all, word.String())
		}
		word.Reset()
		open = false
	}
	for _, r := range line {
		switch {
		case r == '\'':
			quoted, open = !quoted, true
		case !quoted && r == ' ':
			end()
		case !quoted && !open && r == '#':
			return all
		default:
			word.WriteRune(r)
			open = true
		}
	}
	end()
	return all
}

// examples calls each with every line of every command's example, in words without
// "weald" and without what the shell does with the output.
func examples(t *testing.T, each func(of *cobra.Command, args []string)) {
	t.Helper()
	var walk func(*cobra.Command)
	walk = func(c *cobra.Command) {
		if c.Example == "" {
			t.Errorf("%s has no example", c.CommandPath())
		}
		for line := range strings.Lines(c.Example) {
			all := words(strings.TrimSpace(line))
			if to := slices.Index(all, ">"); to >= 0 {
				all = all[:to]
			}
			if len(all) == 0 || all[0] != "weald" {
				t.Errorf("%s: an example is a line that begins with weald: %q", c.CommandPath(), line)
				continue
			}
			each(c, all[1:])
		}
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(newRoot())
}

// Every command shows an example, which is about that command and which it takes: its
// flags are there, their values are of the right kind, and so many arguments are meant.
func TestEveryCommandHasAnExample(t *testing.T) {
	commands := map[string]bool{}
	examples(t, func(of *cobra.Command, args []string) {
		commands[of.CommandPath()] = true
		cmd, rest, err := newRoot().Find(args)
		switch {
		case err != nil:
			t.Errorf("%s: %v: %v", of.CommandPath(), args, err)
			return
		case cmd.CommandPath() != of.CommandPath() && !strings.HasPrefix(cmd.CommandPath(), of.CommandPath()+" "):
			t.Errorf("%s: its example is one of %s", of.CommandPath(), cmd.CommandPath())
		case !cmd.Runnable():
			t.Errorf("%s: %v does nothing by itself", of.CommandPath(), args)
		}
		if err := cmd.ParseFlags(rest); err != nil {
			t.Errorf("%s: %v: %v", of.CommandPath(), args, err)
		} else if err := cmd.ValidateArgs(cmd.Flags().Args()); err != nil {
			t.Errorf("%s: %v: %v", of.CommandPath(), args, err)
		}
	})
	if len(commands) < 35 {
		t.Errorf("looked at %d commands only", len(commands))
	}
	for path := range commands {
		var out bytes.Buffer
		if code := run(t.Context(), append(strings.Fields(path)[1:], "--help"), &out, &out); code != 0 || !strings.Contains(out.String(), "\nExamples:\n  weald ") {
			t.Errorf("%s --help ended with %d and shows no example: %s", path, code, out.String())
		}
	}
}
