// Package figures is the list of every number, default and model that the program
// rests on: what it is for, where it is from, and how far that is to be believed. It
// is the one place in which they can be reviewed; `weald figures` prints it, and the
// handbook shows it.
//
// The list is made of four files of tab-separated lines, which anybody can read:
//
//	defaults.tsv   what a setting is where the configuration is silent, named by its
//	               path in the configuration; what it is for one kind of rule alone
//	               has that kind after an @
//	options.tsv    what an option of a command is where nobody gives it, named as it is given
//	numbers.tsv    numbers in the program, named by package and constant
//	published.tsv  classes and models of others, and what the handbook quotes, named
//	               by the package that has them, or by the part of the handbook
//
// A line has a name, a value with its unit, what it is for, a mark and a source; a line
// that begins with # is the heading of those below it. None of the figures is a
// recommendation: local policy decides.
//
// The marks:
//
//	standard          a standard or an assigned number, which was read, itself or as
//	                  the source says
//	published         a publication, which was read, in full or in abstract
//	from memory       either, but not read: as remembered
//	measured here     found with the project's own tools, on data that is named
//	arithmetic        worked out from other lines
//	common practice   a habit of the trade; there is no source
//	ours              chosen for this program, for a reason that is given
//
// What bounds that which comes from outside is not here but in DEVELOPERS.md: those
// numbers protect the program and judge nobody. Nor are sizes of buffers and the like,
// which arrange the work and change no answer; of the packages that judge, a test has
// their names.
package figures
