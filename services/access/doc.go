// Package access records who was given access to a firm's ledger, who lost it and who did
// either, and shows it to the owner. What changes the access asks the recorder first:
// where it cannot record, nothing is changed. A command that works beside a running server
// cannot write into the log, which belongs to that server, and leaves the record in an
// outbox that the server empties.
package access
