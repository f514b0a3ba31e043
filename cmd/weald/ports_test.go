package main

import (
	"bytes"
	"testing"

	"weald/ingest/serialport"
)

func TestTableOfPorts(t *testing.T) {
	var b bytes.Buffer
	err := listPorts(&b, []serialport.Port{
		{Path: "/dev/ttyACM0", Stable: "/dev/serial/by-id/usb-larch-7", Vendor: "2e8a", Product: "000a", Serial: "E66", Label: "Larch board"},
		{Path: "/dev/ttyS0"},
		{Path: "/dev/ttyUSB0", Vendor: "0403", Product: "6001"},
	})
	want := `PATH          STABLE PATH                    DEVICE
/dev/ttyACM0  /dev/serial/by-id/usb-larch-7  Larch board (usb 2e8a:000a, serial E66)
/dev/ttyS0    -                              -
/dev/ttyUSB0  -                              usb 0403:6001
`
	if err != nil || b.String() != want {
		t.Errorf("got %v\n%swant\n%s", err, b.String(), want)
	}
}
