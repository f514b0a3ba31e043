package serialport

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"syscall"

	"go.bug.st/serial"
)

// DefaultBaud is the speed of a port whose configuration names none.
const DefaultBaud = 115200

// ErrUnplugged is what a read returns when the device behind the port is gone.
var ErrUnplugged = errors.New("the device was unplugged")

// ErrNoPort is wrapped by the error of Open when there is no such port.
var ErrNoPort = errors.New("is the bridge plugged in?")

// A Link is a serial port by path or by USB identity. It may be opened again
// and again, one connection at a time.
type Link struct {
	// Path is a device or a link to one. Empty where USB says which it is.
	Path string

	// USB picks the port by what its device says of itself.
	USB USB

	// Baud is the speed in bits a second, 8 data bits, no parity, one stop
	// bit; 0 stands for DefaultBaud. USB devices without a real UART ignore it.
	Baud int
}

// Name says which port this is, for people.
func (l Link) Name() string {
	if l.Path != "" {
		return l.Path
	}
	return l.USB.String()
}

// Open opens the port. A device that is not there gives an error that wraps
// ErrNoPort; one that this program may not use wraps fs.ErrPermission.
// The connection stays open until Close, whatever becomes of ctx.
func (l Link) Open(ctx context.Context) (io.ReadCloser, error) {
	if err := ctx.Err(); err != nil {
		return nil, context.Cause(ctx)
	}
	path := l.Path
	if path == "" {
		found, err := l.USB.find()
		if err != nil {
			return nil, err
		}
		path = found
	}
	baud := l.Baud
	if baud == 0 {
		baud = DefaultBaud
	}
	port, err := serial.Open(path, &serial.Mode{BaudRate: baud, DataBits: 8})
	if err != nil {
		return nil, explain(path, baud, err)
	}
	return &Conn{name: path, port: port}, nil
}

// explain puts what the operating system said about path into words that tell
// what to do.
func explain(path string, baud int, err error) error {
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENXIO) || errors.Is(err, syscall.ENODEV) || errors.Is(err, syscall.EIO) {
		return fmt.Errorf("no such port: %s; %w", path, ErrNoPort)
	}
	if errors.Is(err, fs.ErrPermission) {
		return fmt.Errorf("%s: %w; on most systems members of the group dialout may use serial ports", path, err)
	}
	p, ok := errors.AsType[*serial.PortError](err)
	if !ok {
		return fmt.Errorf("%s: %w", path, err)
	}
	switch p.Code() {
	case serial.PortBusy:
		return fmt.Errorf("%s is in use by another program: %w", path, err)
	case serial.PortNotFound:
		return fmt.Errorf("no such port: %s; %w", path, ErrNoPort)
	case serial.PermissionDenied:
		return fmt.Errorf("%s: %w; on most systems members of the group dialout may use serial ports", path, fs.ErrPermission)
	case serial.InvalidSpeed:
		return fmt.Errorf("%s does not do %d baud: %w", path, baud, err)
	case serial.InvalidSerialPort:
		if info, statErr := os.Stat(path); statErr == nil && info.Mode()&fs.ModeCharDevice == 0 {
			return fmt.Errorf("%s is not a serial port", path)
		}
		return fmt.Errorf("%s does not answer like a serial port: %w", path, err)
	}
	return fmt.Errorf("%s: %w", path, err)
}
