// Package serialport reads bridges that hang on a serial port.
//
// A port is named by its path, best a stable one such as
// /dev/serial/by-id/…, or by what the USB device says of itself, because the
// number in /dev/ttyACM0 may be another one after the plug was pulled.
//
// Reads have no time limit: a limit would make a quiet line look like the end
// of the input. What ends a blocked read is Close or the loss of the device;
// the operating system reports both alike, so a Conn remembers which of the two
// it was and answers with os.ErrClosed or ErrUnplugged.
package serialport
