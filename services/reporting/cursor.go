package reporting

import (
	"encoding/base64"
	"fmt"
	"hash/fnv"
	"net/url"
	"strconv"
	"strings"

	"daysheet/events"
)

// A cursor says where the next page of an answer starts, at which position of
// the log the answer was given, and for which question, so that a cursor cannot
// be carried over to another question by mistake.
type cursor struct {
	at       string // where the next page starts; what it means is up to the list
	position uint64
}

func (c cursor) encode(question url.Values) string {
	return base64.RawURLEncoding.EncodeToString(fmt.Appendf(nil, "%08x.%d.%s", questionHash(question), c.position, c.at))
}

// cursor reads the parameter "after"; the zero cursor where it is not given.
func (p *params) cursor() cursor {
	given := p.text("after")
	if given == "" {
		return cursor{}
	}
	raw, err := base64.RawURLEncoding.DecodeString(given)
	parts := strings.SplitN(string(raw), ".", 3)
	if err != nil || len(parts) != 3 || parts[0] != fmt.Sprintf("%08x", questionHash(p.values)) {
		p.refuse("after", given, "take it from the link to the next page of the same question")
		return cursor{}
	}
	position, err := strconv.ParseUint(parts[1], 10, 63)
	if err != nil {
		p.refuse("after", given, "take it from the link to the next page of the same question")
	}
	return cursor{at: parts[2], position: position}
}

// offset reads a cursor that counts.
func (c cursor) offset() (int, error) {
	if c.at == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(c.at)
	if err != nil || n < 0 || n > 1<<31 {
		return 0, events.Refuse("after", c.at, "take it from the link to the next page of the same question")
	}
	return n, nil
}

// questionHash covers everything that decides which items there are.
func questionHash(v url.Values) uint32 {
	question := url.Values{}
	for name, values := range v {
		switch name {
		case "after", "limit", "format", "bom", "values":
		default:
			question[name] = values
		}
	}
	h := fnv.New32a()
	h.Write([]byte(question.Encode())) // a hash never fails to write
	return h.Sum32()
}

// nextPage returns the address of the next page, with the cursor in it.
func nextPage(path string, question url.Values, next cursor) string {
	v := url.Values{}
	for name, values := range question {
		v[name] = values
	}
	v.Set("after", next.encode(question))
	return path + "?" + v.Encode()
}

// linkNext is the value of the header Link (RFC 8288); empty on the last page.
func linkNext(address string) string {
	if address == "" {
		return ""
	}
	return "<" + address + `>; rel="next"`
}
