// Package tables is what the API says of lists that go out as CSV and come in again: how
// one is sent, and what is answered. The rooms that know the things add the routes, and read
// a table by the same code as their pages do.
package tables
