package reporting

import (
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"
)

// medium is a way to show an answer.
type medium string

const (
	inJSON medium = "json"
	inCSV  medium = "csv"
	inHTML medium = "html"
)

// media in order of preference.
var media = []string{string(inJSON), string(inCSV), string(inHTML)}

// mediaType is what the medium is called in Accept and Content-Type.
func (m medium) mediaType() string {
	switch m {
	case inCSV:
		return "text/csv"
	case inHTML:
		return "text/html"
	}
	return "application/json"
}

func (m medium) contentType() string {
	switch m {
	case inCSV:
		return "text/csv; charset=utf-8; header=present"
	case inHTML:
		return "text/html; charset=utf-8"
	}
	return "application/json"
}

// accepted picks the medium that an Accept header prefers (RFC 9110 section
// 12.5.1). Where it prefers several alike, JSON comes before CSV before HTML; a
// header that is missing accepts everything. ok is false where it accepts none.
func accepted(header string) (m medium, ok bool) {
	if strings.TrimSpace(header) == "" {
		return inJSON, true
	}
	best := 0.0
	for _, name := range media {
		if q := quality(header, medium(name).mediaType()); q > best {
			best, m = q, medium(name)
		}
	}
	return m, best > 0
}

// quality returns how much the header wants the media type, from 0 to 1. The
// most specific range that matches decides.
func quality(header, mediaType string) float64 {
	main, _, _ := strings.Cut(mediaType, "/")
	specific, q := 0, 0.0
	for _, element := range strings.Split(header, ",") {
		mediaRange, rest, _ := strings.Cut(element, ";")
		match := 0
		switch strings.ToLower(strings.TrimSpace(mediaRange)) {
		case mediaType:
			match = 3
		case main + "/*":
			match = 2
		case "*/*":
			match = 1
		}
		if match > specific {
			specific, q = match, weight(rest)
		}
	}
	return q
}

// weight reads the q parameter of a media range; one that cannot be read is
// taken as not wanted.
func weight(parameters string) float64 {
	for _, p := range strings.Split(parameters, ";") {
		name, value, _ := strings.Cut(strings.TrimSpace(p), "=")
		if !strings.EqualFold(strings.TrimSpace(name), "q") {
			continue
		}
		q, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
		if err != nil || q < 0 || q > 1 {
			return 0
		}
		return q
	}
	return 1
}

// mediumOf decides how to answer: by ?format=, else by the suffix of the path,
// else by Accept.
func mediumOf(p *params, suffix medium, accept string) medium {
	if asked := p.oneOf("format", media...); asked != "" {
		return medium(asked)
	}
	if suffix != "" {
		return suffix
	}
	m, ok := accepted(accept)
	if !ok && p.err == nil {
		p.err = huma.Error406NotAcceptable("Accept is " + strconv.Quote(accept) + ": this can be had as JSON, CSV or HTML")
	}
	return m
}
