package bluez

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// socket makes a file of the descriptor that BlueZ handed over, one whose Read
// ends when it is closed.
func socket(fd int) (*os.File, error) {
	unix.CloseOnExec(fd)
	if err := unix.SetNonblock(fd, true); err != nil {
		return nil, errors.Join(fmt.Errorf("socket for notifications: %w", err), unix.Close(fd))
	}
	return os.NewFile(uintptr(fd), "notifications"), nil
}

// HungUp reports whether nobody is at the other end of a socket. A read of
// length zero alone does not tell, as a notification may be empty.
func HungUp(socket *os.File) bool {
	raw, err := socket.SyscallConn()
	if err != nil {
		return true
	}
	gone := true
	err = raw.Control(func(fd uintptr) {
		poll := []unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN}}
		_, err := unix.Poll(poll, 0)
		gone = err == nil && poll[0].Revents&(unix.POLLHUP|unix.POLLERR|unix.POLLNVAL) != 0
	})
	return err != nil || gone
}
