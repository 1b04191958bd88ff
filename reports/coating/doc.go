// Package coating is the arithmetic of a coat: how far a litre goes, how thick
// it lies, when the air is too damp, and in which class a product stands. It is
// pure: numbers in, numbers out, no clock.
//
// Physics is done in float64, because readings are far coarser than it. Units
// stand in the names: Um is micrometres, rates are square metres for a litre,
// temperatures degrees Celsius, humidity per cent. Shares (volume solids, loss,
// thinner) are fractions of one, so that a per cent is never taken for a part:
// [Fraction] turns what events hold into them.
//
// [Check] holds a coat against its data sheet and against [Limits]. What it
// finds are warnings, never a block: the coat was applied.
package coating
