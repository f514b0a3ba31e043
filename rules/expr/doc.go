// Package expr is the language in which a rule's `while:` says when the rule
// is to be judged. An expression is a condition over the signals of a place,
// such as
//
//	ankle.pressure - calf.pressure > 10 mmHg and still
//
// and answers yes, no or unknown. It is compiled once, with every name, unit
// and type checked, and then evaluated for each reading without allocating.
//
// # Numbers and units
//
// A number is digits with at most one point between them and an optional
// exponent: 30, 4.2, 1e-3. A unit may follow, with or without a blank:
//
//	pressure  mmHg kPa Pa
//	time      ms s min h
//	length    mm cm m
//	area      mm2 cm2
//	force     N
//	ratio     %
//
// Units are written exactly so; 20 % is the plain number 0.2. The millimetre
// of mercury is the one of package sample.
//
// A signal may also be in Hz, mmHg/h or mmHg/cm, which are not written behind a
// number: ankle.settling < -5, or -5 mmHg / 1 h.
//
// A number without a unit, compared with or added to a signal, is in the unit
// of that signal: ankle.pressure > 30 means 30 mmHg where ankle.pressure is in
// mmHg. The same holds for what is still in the signal's unit: its multiples,
// sums, abs, min and max. Where that would leave a doubt the unit has to be
// written: against products and quotients of quantities, against a signal in
// percent, against another number with a unit (30 mmHg + 5 is refused), and
// where signals of different units meet.
//
// Sums, comparisons, min and max want quantities of one kind, in whatever
// units; products and quotients make new kinds, so that mat.peak * mat.area is
// a force and ankle.pressure / calf.pressure a plain number.
//
// # Names
//
// A signal is named by ids joined with points: ankle.pressure, mat.peak, still.
// An id is a small letter or a digit, then small letters, digits, "_" and "-".
//
// A name takes every dash that it touches: a-b is one name, and a subtraction
// between names needs blanks: a - b. A number ends with its digits, so 4-2 is a
// subtraction; but digits that run on into a point and a letter are a name, so
// that 2nd-toe.pressure and 4-2.pressure are signals.
//
// # Operators, the loosest first
//
//	or            also ||
//	and           also &&
//	not           also !
//	< <= > >=     two numbers of one kind
//	== !=         two conditions
//	+ -           two numbers of one kind
//	* /
//	-             before one number
//	( )
//
// not reaches as far as it can: not a > b is not (a > b). Comparisons do not
// chain: write 20 < x and x < 40. Numbers are not compared by == and !=, since
// two measured numbers are hardly ever equal: write abs(x - y) <= 1 mmHg.
//
// The functions are abs(x), min(x, y, …), max(x, y, …) and known(x). There are
// two constants, true and false.
//
// # What is unknown
//
// A number that nobody knows makes every sum, product, min and max that it is
// part of unknown, and every comparison too. Conditions combine by Kleene's
// strong logic: "no and unknown" is no, "yes or unknown" is yes, and whatever
// the missing answer could change is unknown. So losing a reading never turns a
// yes into a no or a no into a yes; it can only make it unknown.
//
// known(x) is the one exception, and the only way to ask about absence: it is
// yes or no according to whether x, a number or a condition, is known.
//
// Dividing by zero gives unknown, and so does a result too large for a float64.
// No infinity ever appears; one handed in counts as unknown.
//
// # Limits
//
// An expression has at most MaxNodes numbers, names and operators, nested at
// most MaxDepth deep. There are no loops, so this bounds what one evaluation
// costs.
package expr
