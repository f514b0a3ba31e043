// Package tcp reads bridges over TCP: it dials a bridge that listens, or waits
// for one that dials. Both may speak TLS.
//
// A peer that is gone without a farewell must not look alive for ever. Two
// things see to that: the system's keep-alive probes, which find out within
// about 30 s that a peer lost its power or its network; and the idle time, after
// which a peer that still answers probes but sends nothing is given up.
//
// A listening link serves one peer. Another one that connects meanwhile is
// told so in a line of text and hung up on, unless the first has been silent
// for a while: then it is taken for dead, as when a gateway restarted, and the
// newcomer takes its place. The port is open from Open until the connection it
// gave is closed, and so is closed while the bridge rests between attempts;
// newcomers try again.
package tcp
