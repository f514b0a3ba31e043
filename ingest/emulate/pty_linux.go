package emulate

import (
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// openPTY returns both ends of a new pseudo-terminal that passes bytes as they
// are, in case the bridge speaks before its reader has set the line up. Both
// ends keep to the poller, so that deadlines and Close end what waits.
func openPTY() (master, slave *os.File, err error) {
	master, err = os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		return nil, nil, err
	}
	var number int
	err = control(master, func(fd int) (err error) {
		if err := unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err != nil {
			return err
		}
		number, err = unix.IoctlGetInt(fd, unix.TIOCGPTN)
		return err
	})
	if err == nil {
		slave, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", number), os.O_RDWR|unix.O_NOCTTY, 0)
	}
	if err != nil {
		master.Close()
		return nil, nil, err
	}
	if err := control(slave, raw); err != nil {
		master.Close()
		slave.Close()
		return nil, nil, err
	}
	return master, slave, nil
}

func raw(tty int) error {
	t, err := unix.IoctlGetTermios(tty, unix.TCGETS)
	if err != nil {
		return err
	}
	t.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
	t.Oflag &^= unix.OPOST
	t.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
	t.Cflag = t.Cflag&^(unix.CSIZE|unix.PARENB) | unix.CS8
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	return unix.IoctlSetTermios(tty, unix.TCSETS, t)
}

// drain throws away what was sent and not read. Where that is refused a reader
// gets old frames late, which is harmless.
func drain(slave *os.File) {
	_ = control(slave, func(fd int) error { return unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCIFLUSH) })
}

// control runs f on the descriptor of file and leaves the file to the poller.
func control(file *os.File, f func(fd int) error) error {
	conn, err := file.SyscallConn()
	if err != nil {
		return err
	}
	var inner error
	if err := conn.Control(func(fd uintptr) { inner = f(int(fd)) }); err != nil {
		return err
	}
	return inner
}
