// Package pulse lets the outside notice a daemon that does not do its work.
//
// A daemon that has died cannot say so, and one that hangs may still answer here and
// there: its process is there, its connections are kept open by libraries, its pages
// are served. So a Heart sends a beat to whoever waits for it, and sends it only when
// what it stands for has been proved since the beat before: that the pipeline's loop
// has turned, and that everything which waited for the disk is on it. Where a proof
// does not come, there is no beat. Whoever waits goes by the silence alone, and needs
// no word of a daemon that may have none.
//
// A proof is asked for anew for each beat. It is never inferred from a process that
// runs, from a timer that fires, or from a counter that somebody else moves on.
//
// Beats go in host time, whatever the speed of the daemon's clock: who waits for them
// lives in the world. They are numbered from the start of the daemon, with those that
// were held back, so that a receiver sees what it has missed.
//
// The same Heart feeds the watchdog of systemd (package pulse/systemd), which starts a
// daemon again whose loop has stopped, and the lamps (Glow), which show as gone what
// cannot know how things stand. These two ask for the loop alone: a disk that is full
// is said by an alert, and is no better after a start.
package pulse
