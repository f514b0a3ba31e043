// Package ble reads bridges that are Bluetooth Low Energy peripherals, through
// BlueZ on Linux.
//
// # For firmware
//
// A peripheral offers the service ServiceUUID with the characteristic
// FramesUUID, which has the property notify. Each notification is one packed
// frame, bare: no COBS and no closing 0x00, as the radio keeps messages whole. A
// frame that is longer than a notification of the connection (its MTU less 3,
// and never more than 512 bytes) is sent as several frames of one scan. Other
// UUIDs can be configured. The peripheral advertises its name, or is found by
// its address; it advertises the service too where `weald ports` is to know it.
// It sends nothing before it is asked for notifications, and it does not have to
// be paired. Where it insists on that, it is paired once with bluetoothctl.
// Notifications of a peripheral that does not insist can be heard by anyone
// near.
//
// The frame's sequence number is what shows that notifications were lost: BlueZ
// drops them without a word when its own buffers are full.
//
// # Battery
//
// The Battery Service (0x180F) is read and followed where the peripheral has it.
// Its level is told by Conn.Battery, and not as a status frame among the others:
// a frame needs a number in its source's sequence, and to invent one would make
// losses of readings look like something else. A status frame that the firmware
// itself sends passes like every frame.
//
// # A plain pressure sensor
//
// A peripheral with the Bluetooth SIG's Pressure characteristic (0x2A6D) needs
// no firmware of ours; the type Pressure says how it is read.
package ble
