// Package events is the vocabulary of the ledger: what can happen on a job,
// in which units it is written down, what may not be true, how one submission
// becomes a commit, and what a job looks like after its events (the fold).
//
// The package holds no technology. It imports the standard library only, reads
// no clock and does no input or output (names of time zones are looked up by the
// standard library), so that everything in it can be proved by reading and by
// tables of examples.
//
// # The words
//
// An [Event] is one site or office action in the shape of CloudEvents 1.0. A
// [Commit] is all new events of one job from one submission: it is the unit
// that is written to the log, and the unit of the hash chain. A [Job] is the
// fold of a job's commits: enough to decide whether the next event can be true
// and whether it was recorded before.
//
// # Units
//
// Amounts are whole numbers and carry their unit in their name:
//
//	…_milli       thousandths of the unit named beside it (12.5 m2 is 12500)
//	…_e4          ten-thousandths of the firm's currency unit (3.20 is 32000)
//	minutes       minutes of one person's work
//	…_um          micrometres of paint film
//	…_basis_points  hundredths of a per cent
//	day           a calendar day where the work is, as YYYY-MM-DD
//
// Nothing is ever edited. A mistake is taken back by [EventVoided], which names
// the event and the reason.
package events
