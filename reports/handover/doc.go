// Package handover says what a job's records say to the customer: the handover
// report, and the other papers that are made of the same parts. It is pure: the
// commits of a job and of its firm in, papers out.
//
// A paper is a function of the job's last commit: what was recorded later on other
// jobs, or about the firm, does not change it. It can so be made again in ten years
// and compared. What is not recorded is listed as missing and never smoothed over.
//
// Papers are for the customer, so that they say nothing of hours, wages and cost;
// the day sheet, which is signed for the hours of a day, is the one exception.
package handover
