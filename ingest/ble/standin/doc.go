// Package standin is support for tests: a private message bus, and on it a
// service that answers as BlueZ does, with adapters that can be pulled out and
// peripherals that can walk away. No radio is involved, and nothing but the
// socket of the bus is touched.
//
// The stand-in keeps the rules of BlueZ that a client can trip over: objects
// come and go with signals, services are there only while a peripheral is
// connected, notifications are acquired by one program or shared by several,
// and whatever a program began ends when it leaves the bus.
package standin
