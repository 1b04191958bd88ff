// Package signoff lets a customer see a job and sign it off, without an account: on the
// crew's phone, or through a link that is good for one job, ends by itself and can be
// taken back. Who signed, and the signature, are sealed with the key of the customer.
package signoff
