package main

import (
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
)

type seatFlags struct{ config, by, why, base string }

func newSeat() *cobra.Command {
	f := seatFlags{}
	cmd := &cobra.Command{
		Use:   "seat",
		Short: "Give whoever sits on a seat a page of their own, and take it back",
		Long: `A link opens the page My seat for one seat: how long somebody has sat, when to shift, and
what has been done today. Whoever has it sees that seat and nothing else, without an
account, until it is withdrawn. It is shown once; the record has a hash of it alone.

` + caution,
		Example: `  weald seat link -c weald.yaml seat-1 --by N-4 --base https://weald.example
  weald seat revoke -c weald.yaml l-3fk2mmqa --by N-4`,
	}
	link := seatVerb(&f, "link -c FILE PLACE", "Make a link to one seat's own page, and show it once", 1, makeLink)
	link.Flags().StringVar(&f.base, "base", "", "under which address phones reach the pages, such as https://weald.example; that of this machine's pages without it")
	link.Example = "  weald seat link -c weald.yaml seat-1 --by N-4 --base https://weald.example"
	withdraw := seatVerb(&f, "revoke -c FILE LINK", "Withdraw a link: it opens nothing from then on", 1, withdrawLink)
	withdraw.Example = "  weald seat revoke -c weald.yaml l-3fk2mmqa --by N-4"
	for _, c := range []*cobra.Command{link, withdraw} {
		c.Flags().StringVar(&f.by, "by", "", "a code for who does it, such as N-4; never a name")
		c.Flags().StringVar(&f.why, "why", "", "why, for the record; no names")
	}
	list := seatVerb(&f, "links -c FILE", "List links, without their keys", 0, listLinks)
	list.Example = "  weald seat links -c weald.yaml"
	cmd.AddCommand(link, withdraw, list)
	return cmd
}

// seatVerb is a command that asks the daemon; do gets the address of its pages.
func seatVerb(f *seatFlags, use, short string, args int, do func(*cobra.Command, *seatFlags, string, []string) error) *cobra.Command {
	cmd := &cobra.Command{
		Use: use, Short: short, Args: arguments(cobra.ExactArgs(args)),
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case f.config == "":
				return usageError{errWhichDaemon}
			case f.by == "" && cmd.Flags().Lookup("by") != nil:
				return usageError{errors.New("give --by: who does it")}
			}
			at, err := pagesOf(cmd, f.config)
			if err != nil {
				return err
			}
			return do(cmd, f, at, args)
		},
	}
	daemonFlag(cmd, &f.config)
	return cmd
}

// seatLinks is where the daemon keeps them.
const seatLinks = "/api/v1/seat-links"

// A linkSaid is what the daemon says of a link.
type linkSaid struct {
	ID, Place   string
	MadeAt      string `json:"made_at"`
	By, Why     string
	WithdrawnAt string `json:"withdrawn_at"`
	WithdrawnBy string `json:"withdrawn_by"`
	UsedAt      string `json:"used_at"`
}

func makeLink(cmd *cobra.Command, f *seatFlags, at string, args []string) error {
	base := f.base
	if base == "" {
		base = at
	}
	type answer struct {
		Link linkSaid
		URL  string
		QR   []string
	}
	m, err := postJSON[answer](cmd.Context(), at+seatLinks, map[string]string{"place": args[0], "by": f.by, "why": f.why, "base": base})
	if err != nil {
		return err
	}
	out := cmd.OutOrStdout()
	if onTerminal(out) {
		printQR(out, m.QR)
	}
	fmt.Fprintf(out, "%s\n\nLink %s to %s. It is shown once; whoever has it sees this seat, until:\n  weald seat revoke -c %s %s --by CODE\n", m.URL, m.Link.ID, m.Link.Place, f.config, m.Link.ID)
	if u, err := url.Parse(m.URL); err == nil {
		if ip := net.ParseIP(u.Hostname()); u.Hostname() == "localhost" || ip != nil && ip.IsLoopback() {
			fmt.Fprintln(out, "It leads to this machine, which no phone reaches: give --base with the address that phones reach it by.")
		}
	}
	return nil
}

func withdrawLink(cmd *cobra.Command, f *seatFlags, at string, args []string) error {
	l, err := postJSON[linkSaid](cmd.Context(), at+seatLinks+"/"+url.PathEscape(args[0])+"/withdraw", map[string]string{"by": f.by, "why": f.why})
	if err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "link %s to %s is withdrawn: it opens nothing any more\n", l.ID, l.Place)
	return nil
}

func listLinks(cmd *cobra.Command, _ *seatFlags, at string, _ []string) error {
	all, err := getJSON[struct{ Links []linkSaid }](cmd.Context(), at+seatLinks)
	if err != nil {
		return err
	}
	for _, l := range all.Links {
		state := "works, not used since the start"
		switch {
		case l.WithdrawnAt != "":
			state = "withdrawn " + toTheSecond(l.WithdrawnAt) + " by " + l.WithdrawnBy
		case l.UsedAt != "":
			state = "works, last used " + toTheSecond(l.UsedAt)
		}
		fmt.Fprintf(cmd.OutOrStdout(), "%s  %s  made %s by %s  %s\n", l.ID, l.Place, toTheSecond(l.MadeAt), l.By, state)
	}
	return nil
}

// toTheSecond is an instant of the daemon's answer as people read it.
func toTheSecond(said string) string {
	at, err := time.Parse(time.RFC3339, said)
	if err != nil {
		return said
	}
	return at.Format(time.RFC3339)
}

// onTerminal reports whether somebody looks at w.
func onTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// printQR writes a QR code for terminals, two rows a line, dark on light whatever the
// terminal's colours, with the margin of four that ISO/IEC 18004 asks for.
func printQR(w io.Writer, rows []string) {
	const margin = 4
	dark := func(y, x int) bool {
		y, x = y-margin, x-margin
		return y >= 0 && y < len(rows) && x >= 0 && x < len(rows[y]) && rows[y][x] == '1'
	}
	for y := 0; y < len(rows)+2*margin; y += 2 {
		var line strings.Builder
		line.WriteString("\x1b[30;107m")
		for x := range len(rows) + 2*margin {
			line.WriteString(map[[2]bool]string{{false, false}: " ", {true, false}: "▀", {false, true}: "▄", {true, true}: "█"}[[2]bool{dark(y, x), dark(y+1, x)}])
		}
		fmt.Fprintln(w, line.String()+"\x1b[0m")
	}
}
