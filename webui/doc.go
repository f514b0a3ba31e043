// Package webui serves the daemon to browsers and to other programs: the pages,
// which are built into the program, the HTTP interface, the live connection and
// the metrics, behind one set of rules about who may ask.
//
// Those rules: the pages may load nothing from elsewhere and may not be framed;
// a page of another origin may not send anything but plain reads, and a name
// that is not ours may not point at us, so that a hostile page cannot make a
// browser read from a daemon on its own machine.
package webui
