package handover

// checkAt is the public page that checks papers.
const checkAt = "/check"
