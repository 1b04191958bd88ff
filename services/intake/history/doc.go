// Package history reads what a firm already has, a spreadsheet of past jobs or
// a file of events, and says which events it comes to. It parses and does
// nothing else: recording is left to the caller, so that a dry run and an import
// are the same code.
//
// # The sheet
//
// [Read] takes CSV with a header row: separated by comma, semicolon or tab, in
// UTF-8 with or without a byte order mark, or in Windows-1252. Lines above the header
// are passed over. Columns are found by name, whatever their order, capitals,
// spaces, underscores and hyphens; [Columns] lists them. Every row says one
// thing, by its kind:
//
//	estimate   planned work (task, quantity, unit, hours), planned material
//	           (product, quantity, unit, cost) or a price for the customer
//	variation  the same, agreed later
//	day sheet  work done: a task with hours, with a quantity, or with both
//	material   material used: product, quantity, unit, and what it cost; a
//	           negative quantity came back
//	billed     what the customer was charged
//
// A blank job repeats the job of the row above; a blank date or kind does so
// within the same job. Title and job type are given once per job, on any of its
// rows. A blank unit is the usual unit of the task. A blank person is the crew
// as a whole ("crew"), who may book more than a day's hours on one row. Zero
// hours or quantities count as blank. Blank rows are passed over.
//
// Dates are 2025-03-04, 4.3.2025, 4 Mar 2025 or 04/03/2025, the last with the
// day first unless [Options].MonthFirst. A date that can only be read the other
// way round is read so. Numbers take a decimal point or comma and thousands
// separators; one that could be either (1.234) needs [Options].Decimal. Hours
// are 1:30, 1.5, 1,5 h or 90 min, to the nearest minute. Amounts with more
// decimals than the ledger holds are refused, not rounded.
//
// # The events
//
// Each job becomes: job opened, estimate issued, accepted where anything was
// done, then variations, hours, quantities and material by day, and job closed
// where it was billed. A quantity becomes protection laid, coat applied or
// surface prepared, by the family of its task. Protection of a billed job is
// taken up on the day it was billed; a quantity on a row of the task
// lift-protection is therefore not recorded again. An estimate needs at least
// one row of planned work; a job without one has no estimate rows.
//
// The id of an event is made of the firm, the job, what the event says, and its
// number among events that say the same. So reading a file twice, in another
// order or with more rows, gives the same ids, and recording it again adds only
// what is new. A row that was changed after the import is a new row: void the
// events of the old one. An estimate with a changed or added row replaces the
// estimate that was in force.
//
// A row that says exactly what an earlier row says is taken for a double and
// left out, with a notice, unless [Options].KeepRepeats.
package history
