// Package handover shows the papers of a job, as pages, as JSON and as PDF, and
// proves what they say.
//
// A paper comes from package reports/handover: a function of the job's last commit.
// One template, templates/paper.html, makes the page and the PDF of it. The PDF is
// tagged and has its fonts embedded; it is made to PDF/A-2a, which no outside body
// has certified. It has the same bytes for the same position of the log, the same
// version of the program and the same photos.
//
// Each PDF is sealed: its keywords hold an Ed25519 signature (RFC 8032) of the firm
// over the whole file with the place of the signature zeroed. So the file proves
// itself for as long as somebody has the firm's public key, also without this
// program and after versions that would lay it out in another way.
package handover
