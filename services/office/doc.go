// Package office is the owner's desk: forms for everything that can be recorded, so
// that a firm runs from the browser. It writes what reporting shows.
//
// A form is made of the payload of its event (shape.go), with the words that people
// know (texts.go). Amounts are typed as people type them and become exact whole
// numbers (read.go). Forms work without JavaScript: what is wrong is said beside the
// field, and what was typed is kept.
//
// The id of the event is made when the form is rendered, and the time of the event
// is the time in the id. So a form that is sent twice is the same event, and is
// recorded once.
package office
