package config

import (
	"slices"
	"strconv"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
)

// A Link is how the bytes of a bridge arrive. Exactly one field is set.
type Link struct {
	Serial *Serial
	File   *File
	Dial   *Dial   // TCP, to a bridge that listens
	Listen *Listen // TCP, for a bridge that dials
	MQTT   *MQTT   // a site's broker
	Client *Client // of the daemon's own MQTT listener
	BLE    *BLE
}

// A Serial is a serial port, named by its path or by its USB device.
type Serial struct {
	Port string // "" where USB is set
	USB  *USB
	Baud int // bits per second
}

// USB names a device. Vendor and Product are four hexadecimal digits in upper
// case; Serial is "" for any.
type USB struct {
	Vendor, Product, Serial string
}

// A File is a recording in place of a wire.
type File struct {
	Path string
	Fast bool // as fast as it goes, not at the pace it was recorded at
}

// bauds are the speeds that serial ports know.
var bauds = []int{
	50, 75, 110, 134, 150, 200, 300, 600, 1200, 1800, 2400, 4800, 9600, 19200, 38400, 57600, 115200,
	230400, 460800, 500000, 576000, 921600, 1000000, 1152000, 1500000, 2000000, 2500000, 3000000,
	3500000, 4000000,
}

func (r *reader) link(b shape.Bridge, path tree.Path) Link {
	l := b.Link
	var given []string
	for _, kind := range []struct {
		key string
		set bool
	}{{"serial", l.Serial != nil}, {"file", l.File != nil}, {"tcp", l.TCP != nil}, {"mqtt", l.MQTT != nil}, {"ble", l.BLE != nil}} {
		if kind.set {
			given = append(given, kind.key)
		}
	}
	if len(given) > 1 {
		r.doc.Report(path.With(given[1]), "link has both %s and %s: give one of them", given[0], given[1])
		return Link{}
	}
	switch {
	case l.Serial != nil:
		return Link{Serial: r.serial(*l.Serial, path.With("serial"))}
	case l.File != nil:
		if l.File.Path == "" {
			r.doc.Report(path.With("file", "path"), "path is empty: give the path of a file")
		}
		return Link{File: &File{Path: r.path(l.File.Path, r.folder), Fast: l.File.Pace == "fast"}}
	case l.TCP != nil:
		return r.tcp(*l.TCP, b, path.With("tcp"))
	case l.MQTT != nil:
		return r.mqtt(*l.MQTT, string(b.ID), path.With("mqtt"))
	case l.BLE != nil:
		return Link{BLE: r.ble(*l.BLE, b, path.With("ble"))}
	}
	r.doc.Report(path, "link names no way in: give serial, file, tcp, mqtt or ble")
	return Link{}
}

func (r *reader) serial(s shape.Serial, path tree.Path) *Serial {
	out := &Serial{Port: s.Port, Baud: s.Baud}
	switch {
	case s.Port != "" && s.USB != nil:
		r.doc.Report(path.With("usb"), "serial has both port and usb: give one of them")
	case s.Port == "" && s.USB == nil:
		r.doc.Report(path.With("port"), "serial names no port: give port with a path such as /dev/ttyACM0, or usb")
	case s.USB != nil:
		out.USB = &USB{Vendor: string(s.USB.Vendor), Product: string(s.USB.Product), Serial: string(s.USB.Serial)}
	}
	if !slices.Contains(bauds, s.Baud) {
		r.doc.Report(path.With("baud"), "baud is %d, which no serial port knows: did you mean %d?", s.Baud, nearestBaud(s.Baud))
	}
	return out
}

// nearestBaud takes a wrong digit for more likely than a wrong size.
func nearestBaud(n int) int {
	words := make([]string, len(bauds))
	for i, b := range bauds {
		words[i] = strconv.Itoa(b)
	}
	if i := slices.Index(words, tree.Nearest(strconv.Itoa(n), words)); i >= 0 {
		return bauds[i]
	}
	return slices.MinFunc(bauds, func(a, b int) int { return max(a-n, n-a) - max(b-n, n-b) })
}
