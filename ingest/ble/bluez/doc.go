// Package bluez speaks to BlueZ, the Bluetooth service of Linux, over D-Bus.
//
// A Bus is one connection of its own to the message bus. BlueZ ties discovery
// and notification sessions to the connection that began them and ends them when
// it closes, so closing a Bus leaves nothing behind. It keeps a Tree, a copy of
// the objects that BlueZ exports, and moves it forward by the signals that
// Watch asked for. A signal that was sent before the copy was made and received
// after it is recognised by its place in the stream and passed over, so the Tree
// never goes back in time.
//
// Signals are taken in the order in which they were sent. Errors are in plain
// words and wrap one of the sentinels of this package, or fs.ErrPermission.
package bluez
