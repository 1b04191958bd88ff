package httpd

import (
	"context"
	"net/url"
	"strings"

	"daysheet/events"
)

// SignInLink returns an address that signs a browser in with the token of the
// secret. It holds a code that lives in memory alone until the server stops, not
// the secret, which must not stand in an address. It is meant for a program that
// serves somebody on the same machine.
func (s *Server) SignInLink(base, secret string) string {
	code := randomText(secretBytes)
	s.setupLock.Lock()
	defer s.setupLock.Unlock()
	s.signInCode, s.signInSecret = code, secret
	return strings.TrimRight(base, "/") + signInPath + "?" + url.Values{"code": {code}}.Encode()
}

// signInByCode returns the secret that a sign-in link stands for; empty if the
// code is not that of the link.
func (s *Server) signInByCode(code string) string {
	s.setupLock.Lock()
	defer s.setupLock.Unlock()
	if s.signInCode == "" || !equalSecrets(code, s.signInCode) {
		return ""
	}
	return s.signInSecret
}

// recordSignIn records that the sign-in link was used. A token that is not good any more
// is no fault here: the page that comes next does not let it in.
func (s *Server) recordSignIn(ctx context.Context, secret string) error {
	caller, err := s.tokens.Authenticate(secret)
	if isAccessError(err) {
		return nil
	}
	if err != nil {
		return err
	}
	return s.tokens.auditor.Record(ctx, caller.Firm, caller.Name,
		events.AccessChange{What: events.SignInLinkUsed, Name: caller.Name})
}
