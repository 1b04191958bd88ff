// Package httpd is the edge of the ledger: the one gin engine with huma on it,
// and everything that every request meets before its handler. That is a request
// id, the access log, recovery, security headers, limits on body, rate and time,
// and access by token.
//
// # Access
//
// A request is let in by a token in the Authorization header, or by the cookie that
// the sign-in page sets for a token or a person; that says for which firm it speaks,
// and a firm in an address or a body counts for nothing. Both have scopes: see
// [Scope]. What is open without either is listed in a test of the program: health,
// signing in, setting up, and what is made to be opened by a link or by anybody. Every operation of the API names the
// scope it needs in its metadata, and one that names none cannot be registered.
// Routes on the engine itself use [Require].
//
// # Errors
//
// Every refusal is a problem by RFC 9457 (application/problem+json) with a
// stable type, see [ProblemDetails]. Handlers return errors as they are: what
// stems from an [events.Error] is answered by its code, and anything else is a
// fault of this program, which is logged and not shown.
package httpd
