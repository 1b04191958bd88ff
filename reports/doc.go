// Package reports turns events into facts and facts into figures. It is pure:
// no input or output, no clock, no third-party module but gonum, so that every
// figure can be proved by reading it and by scenarios in plain text.
//
// A [Fact] is one row of whole numbers with a sign. [JobProjection] makes the
// facts of a job from its commits; a void cancels facts by rows with sign -1.
// A store only filters facts and adds their numbers up ([Query], [Total]);
// every division and rounding is done here, in rounding.go.
package reports
