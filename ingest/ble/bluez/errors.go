package bluez

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"github.com/godbus/dbus/v5"
)

// Why BlueZ could not be reached or did not do what it was asked to.
var (
	ErrNotRunning  = errors.New("the Bluetooth service is not running; on most systems `systemctl start bluetooth` starts it")
	ErrStopped     = errors.New("the Bluetooth service stopped or was restarted")
	ErrNoBus       = errors.New("no D-Bus system bus: Bluetooth needs Linux with BlueZ and D-Bus")
	ErrBusLost     = errors.New("the connection to D-Bus was lost")
	ErrOff         = errors.New("the Bluetooth adapter is switched off; `bluetoothctl power on` switches it on")
	ErrPairing     = errors.New("the peripheral wants to be paired first; `bluetoothctl pair` does that once")
	ErrBusy        = errors.New("another program is using it")
	ErrUnsupported = errors.New("it cannot do that")
	ErrVanished    = errors.New("it is no longer there")
	ErrFailed      = errors.New("BlueZ says") // and its own words follow
)

// explain puts the error of a call into words that tell what to do. Where ctx
// has ended its cause is the reason, whatever the call says.
func explain(ctx context.Context, err error) error {
	if err == nil {
		return nil
	}
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	answer, ok := errors.AsType[dbus.Error](err)
	if !ok {
		// No answer at all, or one of an unexpected shape.
		return fmt.Errorf("%w: %w", ErrBusLost, err)
	}
	name, text := answer.Name, answer.Error()
	switch name {
	case "org.freedesktop.DBus.Error.ServiceUnknown",
		"org.freedesktop.DBus.Error.NameHasNoOwner",
		"org.freedesktop.systemd1.NoSuchUnit",
		"org.freedesktop.systemd1.UnitMasked":
		return ErrNotRunning
	case "org.freedesktop.DBus.Error.AccessDenied":
		return fmt.Errorf("%w to use Bluetooth; on most systems members of the group bluetooth may (%s)", fs.ErrPermission, text)
	case "org.freedesktop.DBus.Error.NoReply", "org.freedesktop.DBus.Error.Disconnected":
		return ErrStopped
	case "org.freedesktop.DBus.Error.UnknownObject", "org.freedesktop.DBus.Error.UnknownMethod",
		"org.freedesktop.DBus.Error.UnknownInterface", "org.bluez.Error.DoesNotExist":
		return fmt.Errorf("%w (%s)", ErrVanished, text)
	case "org.bluez.Error.NotReady":
		return ErrOff
	case "org.bluez.Error.NotAuthorized":
		return ErrPairing
	case "org.bluez.Error.InProgress", "org.bluez.Error.NotPermitted":
		return fmt.Errorf("%w (%s)", ErrBusy, text)
	case "org.bluez.Error.NotSupported":
		return fmt.Errorf("%w (%s)", ErrUnsupported, text)
	}
	if strings.HasPrefix(name, "org.freedesktop.DBus.Error.Spawn.") {
		return ErrNotRunning
	}
	if strings.HasPrefix(name, "org.bluez.Error.Authentication") || unencrypted(text) {
		return fmt.Errorf("%w (%s)", ErrPairing, text)
	}
	return fmt.Errorf("%w %q", ErrFailed, text)
}

// unencrypted reports whether text is one of the answers of a peripheral that
// keeps a value for whoever is paired: insufficient authentication,
// authorisation, encryption key size, encryption.
func unencrypted(text string) bool {
	for _, code := range []string{"0x05", "0x08", "0x0c", "0x0f"} {
		if strings.HasSuffix(strings.ToLower(text), "att error: "+code) {
			return true
		}
	}
	return false
}
