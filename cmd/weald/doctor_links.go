package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"regexp"
	"strconv"
	"syscall"
	"time"

	"golang.org/x/sys/unix"

	"weald/config"
	"weald/ingest/tcp/wire"
	"weald/webui/cert"
)

// account says whose permissions are looked at.
func (d *doctor) account() {
	if os.Geteuid() == 0 {
		d.look("account", "this is root, who may do everything", "whether the daemon may was not tried", "run it as the daemon's account: sudo -u weald weald doctor")
	}
}

// links looks whether what bridges are read from is there. What answers over a
// network is the running daemon's to say.
func (d *doctor) links(c *config.Config) {
	for i := range c.Bridges {
		b := &c.Bridges[i]
		switch l := b.Link; {
		case l.Serial != nil && l.Serial.Port != "":
			d.link("bridge "+b.ID, "port", l.Serial.Port, unix.R_OK|unix.W_OK)
			d.named("bridge "+b.ID, l.Serial.Port, "/dev/serial/by-id")
		case l.File != nil:
			d.link("bridge "+b.ID, "file", l.File.Path, unix.R_OK)
		case l.Listen != nil:
			d.listener("bridge "+b.ID, l.Listen.TLS)
		}
	}
	if c.MQTT != nil {
		d.listener(mqttListener, c.MQTT.TLS)
	}
}

// listener looks at the certificate of a port that bridges connect to; nil for one without.
func (d *doctor) listener(about string, s *wire.ServerTLS) {
	if s != nil {
		d.served(about, cert.Options{Certificate: s.Certificate, Key: s.Key, Now: time.Now}, "bridges refuse to connect then")
	}
}

func (d *doctor) link(about, what, path string, access uint32) {
	const shows = "its places show nothing"
	info, err := os.Stat(path)
	if err == nil {
		err = unix.Access(path, access)
	}
	switch {
	case errors.Is(err, fs.ErrNotExist) && what == "port":
		d.wrong(about, fmt.Sprintf("there is no port %s", path), shows, "plug it in, or name another: weald ports lists those there are")
	case errors.Is(err, fs.ErrNotExist):
		d.wrong(about, fmt.Sprintf("there is no %s %s", what, path), shows, "put it there, or name another")
	case errors.Is(err, fs.ErrPermission):
		d.wrong(about, fmt.Sprintf("%s %s is there, but this account may not use it", what, path), shows, permit(info))
	case err != nil:
		d.wrong(about, fmt.Sprintf("%s %s: %v", what, path, err), shows, "see what the system says of it: dmesg")
	case what == "port" && info.Mode()&fs.ModeCharDevice == 0:
		d.wrong(about, fmt.Sprintf("%s is no serial port", path), shows, "name one: weald ports lists those there are")
	default:
		d.ok(about, "%s %s is there", what, path)
	}
}

// permit says what lets this account use a file.
func permit(info fs.FileInfo) string {
	who := "this account"
	if u, err := user.Current(); err == nil {
		who = u.Username
	}
	if info != nil {
		if st, ok := info.Sys().(*syscall.Stat_t); ok && info.Mode().Perm()&0o060 == 0o060 && st.Gid != 0 {
			group := strconv.FormatUint(uint64(st.Gid), 10)
			if g, err := user.LookupGroupId(group); err == nil {
				group = g.Name
			}
			return fmt.Sprintf("put %s into the group %s: sudo usermod -aG %s %s, and start weald again", who, group, group, who)
		}
	}
	return "let " + who + " use it: see ls -l for whom it is for"
}

var renumbered = regexp.MustCompile(`^/dev/tty(ACM|USB)[0-9]+$`)

// named says where a port has a name that stays: a number may be another board's after
// both were plugged in again.
func (d *doctor) named(about, port, dir string) {
	if !renumbered.MatchString(port) {
		return
	}
	links, _ := filepath.Glob(filepath.Join(dir, "*")) // the pattern is in order
	for _, link := range links {
		if to, err := os.Readlink(link); err == nil && filepath.Base(to) == filepath.Base(port) {
			d.look(about, fmt.Sprintf("%s is a number that the next board may have after a start", port), "readings of one place would be taken for those of another", "name "+link)
			return
		}
	}
}
