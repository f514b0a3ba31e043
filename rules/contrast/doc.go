// Package contrast lays what two rule sets say of the same readings side by
// side: which alerts come with the second, which go with the first, which move
// and which stay. It is pure.
//
// An alert is an episode: from where it was raised to where it was cleared, or
// to the end. Two of them are the same alert if they are of the same place and
// rule and share time; one that only touches another, as the next one does, does
// not share any, unless one of them lasted no time at all. Of several that could
// be the same, those of the same subject are, and among them those that share
// most time. Where only the subject differs, as with a rule that watches another
// region now, it has moved.
package contrast
