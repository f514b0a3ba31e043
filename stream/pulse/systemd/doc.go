// Package systemd tells the service manager that started this process how it fares:
// datagrams of text to the socket that NOTIFY_SOCKET names, as sd_notify(3) has them.
// Where no service manager asks, it says nothing to nobody.
package systemd
