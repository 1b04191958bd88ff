// Package invent makes up a painting and decorating firm with a few years of jobs.
// Everything in it is made up, and marked so: the firm, its people, its prices
// and what its jobs took. The same seed gives the same events to the byte.
//
// Behind the figures stands a simple truth that the reports should find: the
// firm's book is a little optimistic, protection in lived-in homes takes far
// longer than quoted, and some kinds of work suit the crew better than others.
package invent
