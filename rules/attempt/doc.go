// Package attempt judges one try at putting on a wrap: what was aimed for, what was
// read at each step, and what came of it.
//
// The steps are those of a lesson. Before it the sensors are bare; then the wrap is
// applied; the limb lies, stands and walks. A step that was not done is not known, and
// nothing is made up for it.
//
// # What comes of it
//
//	verdict    the resting level lying, at each site, against the band aimed for: sure
//	           where it is further from the band's edges than its standard uncertainty
//	fault      graduation: pressure must not rise from a site to the next one up; and
//	           where the class asks for shares of the lowest site's pressure, those are
//	           held against it. It is judged by the values themselves
//	evenness   least of greatest pull, as Laplace's law reads it off pressure × girth at
//	           the sites: 1 where every turn was pulled alike. How far the law is off
//	           drops out as far as it is off alike everywhere
//	stiffness  resting level standing less lying (Partsch, Dermatol Surg 2005;31:625-630)
//	swing      walking pressure amplitude, see package limb
//
// Whether a try was a good one is for the trainer to say.
package attempt
