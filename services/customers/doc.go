// Package customers keeps what the firm knows of its customers: it seals it with the
// key of each, shows it to those who may read, erases a customer by destroying the
// key, and hands out everything that there is about one. Jobs name a customer by a key
// of the ledger, so that log, chain and figures stay whole when a customer is erased.
package customers
