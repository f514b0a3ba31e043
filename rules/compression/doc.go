// Package compression has what textbooks say of the pressure under a wrap: what
// tension, layers, girth and width predict, and the classes that standards sort
// pressures into. It knows nothing of any sensor.
//
// Neither is a recommendation. What is worn by whom is decided by trained staff,
// after the arteries have been assessed.
package compression
