// Package rates learns from finished jobs how long a line of work takes, and quotes
// the next one with its uncertainty. It is pure: no input or output and no clock,
// so the day of the quote is an argument.
//
// The method is hierarchical credibility on the logarithm of hours per unit
// against the quote book (Bühlmann and Straub 1970; Jewell 1975): a nested
// random-effects model on the tree firm > task > surface > method > job type.
// Variances between groups come from Paule and Mandel (1982), and single rows
// are weighted by a Student t (Lange, Little and Taylor 1989), so that one bad
// day does not move a rate. Each node's estimate is
//
//	Z x its own average + (1-Z) x its group's estimate      (in logarithms)
//
// with credibility Z from 0 to 1, which is what [Fit.Explain] says in words.
//
// The same samples, day and options give the same bits on one kind of machine,
// in whatever order the samples come: every sum runs over sorted rows.
//
// Amounts come in as the whole numbers that events hold (minutes, thousandths
// of a unit). Inside they are floating-point logarithms; a rate goes back into
// an event through [MinutesMilli], which says how it rounds. No figure of an
// account is made here.
package rates
