// Package crew is the crew's phone: pages that work without a connection, and an
// outbox that keeps what was recorded until the ledger has it.
//
// The pages are one shell that a service worker keeps on the phone. What they show
// comes from GET /v1/crew/day. What is recorded gets its event id at the tap, waits
// in the phone's own database and goes to POST /v1/events until a receipt comes back,
// so that a cut line neither loses an entry nor counts it twice. Photos go first.
//
// The office pairs a phone by a code that works once; the phone's token is named
// after it and may record, and nothing else.
package crew
