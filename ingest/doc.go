// Package ingest runs bridges: it opens each one's link, reads, decodes, hands
// the frames to one assembler per source, and passes whole scans on. It opens
// the link again when it was lost, and says in plain words what is wrong when
// nothing useful arrives.
//
// A Supervisor has one goroutine, the one that calls Run. It owns the decoder,
// the assemblers and the capture, and calls Options.Out; so scans of one bridge
// leave one after the other. For each connection it starts a reader, whose only
// work is to wait in Read and to stamp what it got with the time of its
// arrival; Run returns after the reader has. Between the two are two buffers
// (one, where messages are kept whole and may be acknowledged) and no queue: a
// consumer that is slow holds back the link, and the bridge's own buffers
// decide what is lost, which then shows as gaps.
//
// Status may be asked by anyone at any time. It is a copy, published after each
// chunk of bytes and each tick, never in the midst of one.
//
// Between an assembler and Options.Out every scan passes the Screen of its
// source, which watches the channels (see package health) and leaves readings
// out of the values that come from dead or stuck ones. It does so in playback
// too: what is left out depends on nothing but the scans in their order.
//
// A Playback runs a recording through the same decoder and the same assemblers,
// without a goroutine and as fast as it goes.
package ingest
