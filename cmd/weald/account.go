package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"weald/ingest/sample"
	"weald/stream/access"
	"weald/stream/audit"
)

type accountFlags struct{ config, data, role, passwordFile string }

func newAccount() *cobra.Command {
	f := accountFlags{}
	cmd := &cobra.Command{
		Use:   "account",
		Short: "Say who may do what: make, list, change and remove accounts",
		Long: `Accounts are those of staff. An account has a short name, by which the record says who
did what, and a role: viewer (looks), carer (acknowledges, shelves, marks, leads
sessions), engineer (calibrates, configures, rehearses, exports), admin (accounts).
Patients and participants have none: they are known by codes.

They count where the configuration says web.accounts: required. The first one is made
with this command, on the machine; it works beside a daemon that runs, at once, and
without one. A password is asked for on the terminal, or read from a file, of which
the first line counts; it is never an argument, which others on the machine can see.

` + caution,
		Example: `  weald account add anna --role admin -c weald.yaml
  weald account list -c weald.yaml`,
	}
	add := accountVerb(&f, "add NAME --role ROLE -c FILE", "Make an account", 1, "add")
	add.Example = "  weald account add anna --role admin -c weald.yaml"
	role := accountVerb(&f, "role NAME --role ROLE -c FILE", "Give an account another role, at once", 1, "role")
	role.Example = "  weald account role anna --role carer -c weald.yaml"
	for _, c := range []*cobra.Command{add, role} {
		c.Flags().StringVar(&f.role, "role", "", "viewer, carer, engineer or admin")
	}
	change := accountVerb(&f, "password NAME -c FILE", "Give an account another password, which ends its log-ins", 1, "password")
	change.Example = "  weald account password anna -c weald.yaml"
	for _, c := range []*cobra.Command{add, change} {
		c.Flags().StringVar(&f.passwordFile, "password-file", "", "a file with the password in its first line; asked for on the terminal without it")
	}
	list := accountVerb(&f, "list -c FILE", "List accounts", 0, "list")
	list.Example = "  weald account list -c weald.yaml"
	remove := accountVerb(&f, "remove NAME -c FILE", "Remove an account, which ends its log-ins", 1, "remove")
	remove.Example = "  weald account remove anna -c weald.yaml"
	cmd.AddCommand(add, list, role, change, remove)
	return cmd
}

func accountVerb(f *accountFlags, use, short string, args int, verb string) *cobra.Command {
	cmd := &cobra.Command{
		Use: use, Short: short, Args: arguments(cobra.ExactArgs(args)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.config == "" && f.data == "" {
				return usageError{errors.New("say which configuration: -c weald.yaml")}
			}
			ask := accountAsk{Verb: verb, Role: f.role}
			if len(args) > 0 {
				ask.Name = args[0]
			}
			if cmd.Flags().Lookup("role") != nil {
				if _, err := access.ParseRole(f.role); err != nil {
					return usageError{fmt.Errorf("--role: %w", err)}
				}
			}
			if cmd.Flags().Lookup("password-file") != nil {
				var err error
				if ask.Password, err = readPassword(cmd, f.passwordFile, ask.Name); err != nil {
					return err
				}
			}
			return f.ask(cmd, ask)
		},
	}
	cmd.Flags().StringVarP(&f.config, "config", "c", "", "the configuration")
	cmd.Flags().StringVar(&f.data, "data", "", "the folder with the record, if it is not the configuration's")
	return cmd
}

// ask does it, or lets the daemon do it that has the record.
func (f *accountFlags) ask(cmd *cobra.Command, ask accountAsk) error {
	dir, err := folderOf(cmd, f.config, f.data)
	if err != nil {
		return err
	}
	tell := func(text string) { fmt.Fprintln(cmd.OutOrStdout(), text) }
	store, err := openOrMakeRecord(cmd.Context(), dir)
	if inUse(err) {
		return askDaemon(cmd.Context(), dir, question{Account: &ask}, func(l answerLine) { tell(l.Finding) })
	}
	if err != nil {
		return err
	}
	now := sample.At(time.Now())
	who, err := access.Read(cmd.Context(), audit.Over(store), access.DefaultLimits, now)
	if err == nil {
		err = ask.do(cmd.Context(), who, now, tell)
	}
	return errors.Join(err, store.Close())
}

// An accountAsk is what is to be done with accounts.
type accountAsk struct {
	Verb     string `json:"verb"`
	Name     string `json:"name,omitempty"`
	Role     string `json:"role,omitempty"`
	Password string `json:"password,omitempty"`
}

// onConsole is how the record names who uses this command: the machine's user is all
// that is known.
const onConsole = "console"

func (q *accountAsk) do(ctx context.Context, who *access.Access, now sample.Instant, tell func(string)) error {
	d := access.Deed{By: onConsole, Now: now}
	role := access.Nobody
	var err error
	if q.Role != "" {
		if role, err = access.ParseRole(q.Role); err != nil {
			return err
		}
	}
	said := ""
	switch q.Verb {
	case "add":
		err, said = who.Make(ctx, d, q.Name, role, q.Password), "account "+q.Name+" is made: "+q.Role
	case "role":
		err, said = who.SetRole(ctx, d, q.Name, role), "account "+q.Name+" is "+q.Role+" from now on"
	case "password":
		err, said = who.SetPassword(ctx, d, q.Name, q.Password), "account "+q.Name+" has another password; its log-ins have ended"
	case "remove":
		err, said = who.Remove(ctx, d, q.Name), "account "+q.Name+" is removed; its log-ins have ended"
	case "list":
		for _, a := range who.Accounts(now) {
			tell(fmt.Sprintf("%-32s  %-8s  made %s by %s, %d log-ins", a.Name, a.Role, a.MadeAt.Format(time.DateOnly), a.MadeBy, a.Sessions))
		}
		if !who.Any() {
			tell("there is no account: make one with weald account add NAME --role admin")
		}
		return nil
	default:
		return fmt.Errorf("accounts: %q is not known; the daemon may be of another version", q.Verb)
	}
	if err != nil {
		return fmt.Errorf("account %s: %w", q.Name, err)
	}
	tell(said)
	return nil
}

// readPassword reads a password from a file, from the terminal, twice and without
// echo, or from what is piped in.
func readPassword(cmd *cobra.Command, file, name string) (string, error) {
	if file != "" {
		f, err := os.Open(file)
		if err != nil {
			return "", err
		}
		defer f.Close()
		return firstLine(f)
	}
	in, isFile := cmd.InOrStdin().(*os.File)
	if !isFile || !term.IsTerminal(int(in.Fd())) {
		return firstLine(cmd.InOrStdin())
	}
	var typed [2]string
	for i, prompt := range []string{"Password for " + name + ": ", "The same again: "} {
		fmt.Fprint(cmd.ErrOrStderr(), prompt)
		b, err := term.ReadPassword(int(in.Fd()))
		fmt.Fprintln(cmd.ErrOrStderr())
		if err != nil {
			return "", fmt.Errorf("the password cannot be read: %w", err)
		}
		typed[i] = string(b)
	}
	if typed[0] != typed[1] {
		return "", errors.New("the passwords differ: nothing was changed")
	}
	return typed[0], nil
}

func firstLine(r io.Reader) (string, error) {
	line, err := bufio.NewReader(io.LimitReader(r, 4096)).ReadString('\n')
	if line == "" && err != nil {
		return "", errors.New("there is no password: type it, pipe it in, or give --password-file")
	}
	return strings.TrimRight(line, "\r\n"), nil
}
