package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"weald/ingest/tcp/wire/pair"
	"weald/webui/cert"
)

type tlsFlags struct {
	config, dir string
	out         string // folder for another machine
	days        int
	newCA, now  bool
}

// byHand is how many days a certificate is good for that somebody makes: more than a
// year, so that it is one and the same task of each year.
const byHand = 397

func newTLS() *cobra.Command {
	f := tlsFlags{days: byHand}
	cmd := &cobra.Command{
		Use:   "tls",
		Short: "Make the certificate that the pages are served with, and renew it",
		Long: `Pages that others than this machine may reach are served over TLS, for which every
client has to trust whoever vouches for their certificate. Where nobody does yet, these
commands make a CA of your own, which can vouch for the names that it was made for and
for nothing else, and a certificate of it.

A daemon with web: {tls: {self_signed: true}} does all this by itself, in the folder tls
of its data; "weald tls show -c FILE" then says what clients have to do. Otherwise give
--dir with a folder that only this account may use. A daemon takes new files by itself.`,
		Example: `  weald tls make --dir /etc/weald/tls weald.larch.example 10.0.0.5
  weald tls show -c weald.yaml`,
	}
	make := tlsVerb(&f, "make (-c FILE | --dir DIR NAME…)", "Make a certificate, and a CA where there is none", cobra.ArbitraryArgs, makeTLS)
	make.Example = "  weald tls make --dir /etc/weald/tls weald.larch.example 10.0.0.5"
	make.Flags().BoolVar(&f.newCA, "new-ca", false, "make another CA, which every client has to trust anew")
	renew := tlsVerb(&f, "renew (-c FILE | --dir DIR)", "Renew the certificate for the names it has, if a third of its life or less is left", cobra.NoArgs, renewTLS)
	renew.Example = "  weald tls renew --dir /etc/weald/tls        # once a day, from a timer"
	renew.Flags().BoolVar(&f.now, "now", false, "renew it however much is left")
	issue := tlsVerb(&f, "issue --dir DIR --out FOLDER NAME…", "Make a certificate for another machine, such as a server of the log that several keep", cobra.MinimumNArgs(1), issueTLS)
	issue.Example = "  weald tls issue --dir larch-ca --out log-1 log-1.larch.example"
	issue.Flags().StringVar(&f.out, "out", "", "where to put the certificate, its key and the CA's certificate, to be brought there")
	for _, c := range []*cobra.Command{make, renew, issue} {
		c.Flags().IntVar(&f.days, "days", f.days, "for how many days it is good")
	}
	show := tlsVerb(&f, "show (-c FILE | --dir DIR)", "Show what is served, until when, and what clients have to do", cobra.NoArgs, showTLS)
	show.Example = "  weald tls show -c weald.yaml"
	cmd.AddCommand(make, renew, issue, show)
	return cmd
}

func tlsVerb(f *tlsFlags, use, short string, args cobra.PositionalArgs, do func(io.Writer, *tlsFlags, *certPlace) error) *cobra.Command {
	cmd := &cobra.Command{
		Use: use, Short: short, Args: arguments(args),
		RunE: func(cmd *cobra.Command, names []string) error {
			p, err := tlsPlace(cmd, f, names)
			if err != nil {
				return err
			}
			return do(cmd.OutOrStdout(), f, p)
		},
	}
	cmd.Flags().StringVarP(&f.config, "config", "c", "", "the configuration that the daemon runs with")
	cmd.Flags().StringVar(&f.dir, "dir", "", "a folder for the CA and the certificate")
	return cmd
}

// A certPlace is where a certificate is, and for which names it is meant.
type certPlace struct {
	cert.Options
	command string // what names it again
}

// tlsPlace finds out what a command is about.
func tlsPlace(cmd *cobra.Command, f *tlsFlags, names []string) (*certPlace, error) {
	if f.days < 1 || f.days > int(cert.LongestLife/(24*time.Hour)) {
		return nil, usageError{fmt.Errorf("--days must be from 1 to %d, as no client takes more", cert.LongestLife/(24*time.Hour))}
	}
	switch {
	case (f.config == "") == (f.dir == ""):
		return nil, usageError{errors.New("which certificate? Give either -c with a configuration or --dir with a folder")}
	case f.dir != "":
		dir, err := filepath.Abs(f.dir)
		return &certPlace{cert.Options{Dir: dir, Names: names, Now: time.Now}, "--dir " + f.dir}, err
	case len(names) > 0:
		return nil, usageError{errors.New("names are for --dir: with -c they are those of web.names")}
	}
	c, err := loadWhole(cmd, f.config)
	if err != nil {
		return nil, err
	}
	if c.TLS == nil {
		return nil, fmt.Errorf("%s serves the pages without TLS: give web.tls, such as {self_signed: true}", f.config)
	}
	return &certPlace{certOptions(c), "-c " + f.config}, nil
}

func makeTLS(out io.Writer, f *tlsFlags, p *certPlace) error {
	if p.Dir == "" {
		return errOwnFiles
	}
	if f.newCA {
		if _, err := cert.Found(p.Dir, p.Names, time.Now()); err != nil {
			return err
		}
	}
	if _, err := cert.Renew(p.Dir, p.Names, time.Now(), life(f), true); err != nil {
		return err
	}
	return showTLS(out, f, p)
}

// issueTLS fills a folder with what another machine needs.
func issueTLS(out io.Writer, f *tlsFlags, p *certPlace) error {
	if f.out == "" || f.dir == "" {
		return usageError{errors.New("which CA, and for where? Give --dir with its folder and --out with another")}
	}
	a, err := cert.Open(p.Dir)
	if err != nil {
		return fmt.Errorf("%w; weald tls make --dir %s larch.example makes a CA for all names below larch.example", err, f.dir)
	}
	if err := a.IssuePeer(f.out, p.Names, time.Now(), life(f)); err != nil {
		return err
	}
	c, err := pair.Read(filepath.Join(f.out, cert.File), filepath.Join(f.out, cert.KeyFile))
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "%s has %s, %s and %s for %s, until %s: bring it there on a way on which nobody can read it\n", f.out, cert.File, cert.KeyFile, cert.CAFile,
		strings.Join(cert.Names(c.Leaf), ", "), c.Leaf.NotAfter.UTC().Format(time.DateOnly))
	return nil
}

var errOwnFiles = errors.New("the certificate of this configuration is in files of its own, which whoever made them renews: give --dir with their folder if that was weald tls")

func life(f *tlsFlags) time.Duration { return time.Duration(f.days) * 24 * time.Hour }

func renewTLS(out io.Writer, f *tlsFlags, p *certPlace) error {
	if p.Dir == "" {
		return errOwnFiles
	}
	had, err := pair.Read(p.Files())
	if err != nil {
		return fmt.Errorf("there is nothing to renew: %w; weald tls make %s makes it", err, p.command)
	}
	if len(p.Names) == 0 {
		p.Names = cert.Names(had.Leaf)
	}
	done, err := cert.Renew(p.Dir, p.Names, time.Now(), life(f), f.now)
	if err != nil {
		return err
	}
	now, err := pair.Read(p.Files())
	if err != nil {
		return err
	}
	until := now.Leaf.NotAfter.UTC().Format(time.DateOnly)
	if done {
		fmt.Fprintf(out, "renewed until %s; a daemon that serves it takes it by itself\n", until)
	} else {
		fmt.Fprintf(out, "good until %s: nothing to do yet\n", until)
	}
	return nil
}

func showTLS(out io.Writer, _ *tlsFlags, p *certPlace) error {
	file, key := p.Files()
	c, err := pair.Read(file, key)
	if err != nil {
		return fmt.Errorf("%w; weald tls make %s makes a CA and a certificate", err, p.command)
	}
	fmt.Fprintf(out, "certificate  %s\n             for %s\n             until %s\n             SHA-256 %s\n", file,
		strings.Join(cert.Names(c.Leaf), ", "), c.Leaf.NotAfter.UTC().Format(time.DateOnly), cert.Fingerprint(c.Leaf))
	if p.Dir == "" {
		fmt.Fprintln(out, "\nWhat clients have to trust says whoever made it.")
		return complain(out, p)
	}
	a, err := cert.Open(p.Dir)
	if err != nil {
		return err
	}
	ca := filepath.Join(p.Dir, cert.CAFile)
	fmt.Fprintf(out, "CA           %s\n             until %s\n             SHA-256 %s\n", ca, a.Ends().UTC().Format(time.DateOnly), a.Fingerprint())
	fmt.Fprintf(out, onClients, cert.CAKey)
	if strings.HasPrefix(p.command, "--dir") {
		fmt.Fprintf(out, "\nIn the daemon's configuration:\n  web:\n    tls: {certificate: %s, key: %s}\n", file, key)
	}
	return complain(out, p)
}

// complain says what is wrong with what was shown.
func complain(out io.Writer, p *certPlace) error {
	_, wrongs := cert.Check(p.Options)
	for _, w := range wrongs {
		fmt.Fprintf(out, "\nwrong: %s\n", w)
	}
	if len(wrongs) > 0 {
		return errFound
	}
	return nil
}

const onClients = `
On every client, once:
  1. Bring it the CA's file on a way on which nobody can change it, such as a memory
     stick. %s stays here.
  2. Compare the CA's fingerprint with the one above before you trust it.
  3. Have it trusted as an authority for web sites:
     Debian, Ubuntu   cp ca.pem /usr/local/share/ca-certificates/weald.crt; update-ca-certificates
     Windows          certutil -addstore Root ca.pem
     macOS            security add-trusted-cert -d -r trustRoot -k /Library/Keychains/System.keychain ca.pem
     Android, iOS     open the file, then allow it in the settings, among the certificates
     a browser with authorities of its own: in its settings, among the certificates
  4. Ask for the pages under one of the certificate's names.
The CA can vouch for those names and for nothing else.
`
