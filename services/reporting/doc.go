// Package reporting shows what the ledger adds up to: reports as JSON, CSV and
// pages with charts, jobs and their records, the facts behind every figure, and
// a stream of changes.
//
// The package only reads. Every answer is given for one position of the log, so
// that a figure, its explanation and its ETag belong together. Numbers leave the
// API as the whole numbers that were counted, under keys that name their unit;
// only pages and charts show them in the firm's own way (package wording).
//
// Pages stand in the frame of package pages and draw charts with assets/charts.js.
// The chart library comes from npm into web/lib, which is not kept in the repository:
//
//	cd web && npm ci && npm run assets
//
// Without it the program builds all the same, and pages show tables alone.
package reporting
