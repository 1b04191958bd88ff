package reporting

import (
	"errors"
	"net/url"
	"testing"

	"daysheet/events"
)

// FuzzQuestion: whatever stands in the query of an address is refused by the name of
// a parameter or read within its bounds, and a cursor that is handed out comes back.
func FuzzQuestion(f *testing.F) {
	question := url.Values{"job": {"stair-1"}}
	next := cursor{"50", 7}.encode(question)
	for _, seed := range []string{"", "job=stair-1&after=" + next, "job=stair-2&after=" + next, "from=2026-01-02&to=2026-01-01",
		"as_of=18446744073709551615&limit=0", "limit=500&format=csv", "job=a&job=b", "after=Li4u&after=%00", "jbo=1", "to=%zz;",
		"unit=m2&task=wash&of=minutes&side=actual"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, raw string) {
		values, err := url.ParseQuery(raw)
		if err != nil {
			return
		}
		p := readParams(values)
		filter, from, limit := p.filter("north"), p.cursor(), p.limit(pageUsual, pageMost)
		p.oneOf("format", "csv", "json")
		start := 0
		if err = p.done(); err == nil {
			start, err = from.offset()
		}
		checkRefusal(t, err)
		if err == nil && (limit < 1 || limit > pageMost || start < 0 || start > 1<<31 || filter.AsOf > 1<<63 ||
			filter.Job != "" && !events.ValidToken(filter.Job) || filter.From != "" && !filter.From.Valid()) {
			t.Errorf("%q is read as %+v from %d, %d of them", raw, filter, start, limit)
		}
		of := readParams(values)
		_, _ = explainQuery(of, "north")
		checkRefusal(t, of.done())

		sent := cursor{at: raw, position: filter.AsOf}
		address, err := url.Parse(nextPage("/v1/explain", values, sent))
		if err != nil {
			t.Fatal(err)
		}
		again := readParams(address.Query())
		if got := again.cursor(); again.err != nil || got != sent {
			t.Errorf("%+v comes back as %+v: %v", sent, got, again.err)
		}
	})
}

func checkRefusal(t *testing.T, err error) {
	t.Helper()
	var refusal *events.Error
	if err != nil && (!errors.As(err, &refusal) || refusal.Code != events.Invalid || refusal.Rule == "") {
		t.Errorf("refused as %v", err)
	}
}
