// Package config turns one YAML file into checked settings.
//
// Load and Parse give either a Config that everything else can rely on, or all
// the problems of the file at once, each with its place:
//
//	ward.yaml:31:14: rate is 0: give a number above 0 and at most 10000
//
// A problem names what is wrong and what would be right. One mistake gives one
// problem: what only follows from it is not reported. Only where the YAML
// itself is damaged does the rest of the file go unread.
//
// A Config holds plain values with every default filled in. Plan has what the
// rules need, Bridges what the links and decoders need, Places what the pages
// show besides. Schema is the JSON Schema of the file, for editors; it is made
// from package shape by `go generate` and a test says when it is stale.
//
// Choices that the format's description leaves open:
//
//   - Durations are a number and a unit (ms, s, m, h, d), or several of them
//     (1m30s). A plain number is refused, except 0.
//   - A path that is not absolute is relative to the configuration file, and
//     that of a capture to the folder named by data.
//   - Bridges may reach a listener from beyond this machine, unlike the pages:
//     they are devices. What protects it is in the description of its keys.
//   - A connection over TCP outlives the silence between two readings: idle is
//     never shorter by default than 3 periods of the fastest source.
//   - head names the edge of a mat at the person's head, and on a seat the edge
//     at the back. The mat is seen from above, row 0 at the top, column 0 at
//     the left; so on a seat with head: first_row the person looks down the
//     page and has the high columns at the left.
//   - A bed's regions run along its length from the head, as shares of it: head
//     0 to 12 %, shoulders to 25, back to 42, pelvis to 58, thighs to 75, calves
//     to 90, heels to 100. A cell belongs where its centre lies. The split is
//     our own, no source.
//   - Names are at most 64 of a-z, 0-9, - and _, and begin with a letter or a
//     digit, because they appear in addresses, metrics and file names.
//   - Whether a file or a port exists is not checked: it may come later.
package config

//go:generate go test -run TestSchemaIsCurrent -update .
