package signoff

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"reflect"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/services/httpd"
)

// FuzzSigning: whatever is sent as a sign-off is refused with a status below 500, or
// holds nothing but text and strokes, and is read the same again.
func FuzzSigning(f *testing.F) {
	const asJSON, asForm = "application/json", "application/x-www-form-urlencoded"
	for _, seed := range []struct{ media, body string }{
		{asJSON, `{"id":"sign-0001","name":"Mara Quill","role":"owner","drawn":"M1 1L599 199M3 4"}`},
		{asJSON, `{"name":"x","role":"y","typed":true,"remarks":"\u0000"}`}, {asJSON, `{"nmae":"x"}`}, {asJSON, `{} {}`},
		{asJSON, `{"name":"x","role":"y","drawn":"M1 1L1 1\n"}`}, {asForm, "name=x&role=y&drawn=M1+1L9999+1"},
		{asForm, "name=%ff&role=y&typed=1&snags=a&snags=b"}, {asForm, "name=%zz"}, {"text/plain", ""},
	} {
		f.Add(seed.media, seed.body)
	}
	read := func(media, body string) (Signing, error) {
		c, _ := gin.CreateTestContext(httptest.NewRecorder())
		c.Request = httptest.NewRequest(http.MethodPost, "/", strings.NewReader(body))
		c.Request.Header.Set("Content-Type", media)
		s, _, err := readSigning(c)
		if err == nil {
			err = s.check()
		}
		return s, err
	}
	f.Fuzz(func(t *testing.T, media, body string) {
		s, err := read(media, body)
		if err != nil {
			if p := httpd.Problem(err); p.Status < 400 || p.Status >= 500 || p.Detail == "" {
				t.Errorf("refused with status %d: %v", p.Status, err)
			}
			if refusal := (*events.Error)(nil); errors.As(err, &refusal) && refusal.Field == "" {
				t.Errorf("refused without a field: %v", err)
			}
			return
		}
		if strings.Trim(s.Drawn, "ML 0123456789") != "" || len(s.Drawn) > drawnMax || len(s.Name) > nameMax {
			t.Errorf("taken as it is: %+v", s)
		}
		raw, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		if again, err := read(asJSON, string(raw)); err != nil || !reflect.DeepEqual(again, s) {
			t.Errorf("%+v is read again as %+v: %v", s, again, err)
		}
	})
}
