// Package reporting shows what the ledger adds up to: reports as JSON, CSV and
// pages with charts, jobs and their records, the facts behind every figure, and
// a stream of changes.
//
// The package only reads. Every answer is given for one position of the log, so
// that a figure, its explanation and its ETag belong together. Numbers leave the
// API as the whole numbers that were counted, under keys that name their unit;
// only pages and charts show them in the firm's own way (format.go).
//
// Pages work without JavaScript. With it they draw charts (assets/charts.js) and
// say when new records came in (assets/live.js). No page holds a script or a
// style of its own, so a strict content policy fits. The chart library comes
// from npm into web/lib, which is not kept in the repository:
//
//	cd web && npm ci && npm run assets
//
// Without it the program builds all the same, and pages show tables alone.
package reporting
