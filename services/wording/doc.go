// Package wording says what the ledger holds as the firm reads it: whole numbers in
// the signs of its locale, records in sentences of the trade with the firm's own
// names, and a job's log as a history of what is done and what is open.
package wording
