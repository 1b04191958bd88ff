// Package intake takes site and office actions in over HTTP, checks them and
// hands them to the log.
//
// A request is one event or a batch, in the JSON format of CloudEvents 1.0. It
// is read and checked whole before anything is recorded: an event that cannot be
// true on its own refuses the request, and the answer lists every such event.
// Then the events go to the log job by job, in the order in which the jobs first
// appear, the firm's own events first. What stands in the answer as recorded is
// on disk. A job is recorded whole or not at all; where a later job of a request
// is refused or the log fails, the answer is that problem, and says for each
// event whether it was recorded. Sending a request again is always safe, since
// an event is known by its job and id.
package intake
