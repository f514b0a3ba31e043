// Package emulate plays bridges that do not exist: invented bodies on invented
// sensors, or recordings, sent as a real bridge would send them, over a
// pseudo-terminal or to any writer.
//
// A Stream yields scans in the order of their device time; a Player encodes
// them as line or packed frames, stamps them with a device counter of its own
// that starts anywhere and runs a little fast or slow, damages them if told to,
// and sends each when its time has come, at any multiple of real pace. Equal
// seeds give equal scans.
//
// The bodies are a drawing of how pressure behaves, enough to see the program
// at work and to test it: blobs for the parts that bear weight, slow creep,
// breathing, fidgets, turns, steps. They are no data about people, and nobody's.
package emulate
