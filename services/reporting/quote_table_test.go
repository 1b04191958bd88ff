package reporting

import (
	"bytes"
	"io"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"
)

// sendTakeOff sends a table to the form of a take-off, as a browser does.
func (s *stack) sendTakeOff(t *testing.T, content string) (status int, page string) {
	t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	file, err := w.CreateFormFile("file", "take-off.csv")
	must(t, err)
	_, err = file.Write([]byte(content))
	must(t, err)
	must(t, w.WriteField("job", "stair-1"))
	must(t, w.Close())
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, s.address+takeOffIn, &body)
	must(t, err)
	request.Header.Set("Content-Type", w.FormDataContentType())
	request.Header.Set("Authorization", "Bearer "+s.tokens["north"])
	request.Header.Set("Accept", "text/html")
	answer, err := http.DefaultClient.Do(request)
	must(t, err)
	defer answer.Body.Close()
	raw, err := io.ReadAll(answer.Body)
	must(t, err)
	return answer.StatusCode, string(raw)
}

// TestTakeOffAsATable: rooms and work fill the form in, and the form goes out as the table
// that fills it in alike; a row that cannot be read fills in nothing.
func TestTakeOffAsATable(t *testing.T) {
	s := newStack(t)
	tell(s)
	table := "Raum;Länge;Width;Height;Doors;Door width;Door height;Task;Surface;Method;Measured by;Quantity;Coats\n" +
		"Hall;4,25;3.1;2.5;1;0.9;2.1;Coat surface;Wall;roller;walls;;2\n;;;;;;;sand;;;;12,5;\n"
	status, page := s.sendTakeOff(t, table)
	for _, want := range []string{"Rooms: 1. Pieces of work: 2.", `name="length" value="4.25"`, `name="door_width" value="0.9"`,
		`<option value="coat" selected>`, `<option value="walls" selected>`, `<option value="sand" selected>`,
		`name="quantity" value="12.5"`, `name="job" value="stair-1"`} {
		if status != http.StatusOK || !strings.Contains(page, want) {
			t.Errorf("status %d: the page has not %q", status, want)
		}
	}
	_, at, _ := strings.Cut(page, `<a href="`+takeOffOut)
	query, _, _ := strings.Cut(at, `"`)
	out := s.get("north", takeOffOut+strings.ReplaceAll(query, "&amp;", "&")).body
	if _, again := s.sendTakeOff(t, out); !strings.Contains(again, `<a href="`+takeOffOut+query+`"`) {
		t.Errorf("what goes out comes in as something else: %s", out)
	}
	if out := s.get("north", takeOffOut).body; !strings.Contains(out, "room,length,") || !strings.Contains(out, "hall,4.2,") {
		t.Errorf("the example is %s", out)
	}
	for wrong, want := range map[string]string{
		strings.Replace(table, "4,25", "wide", 1):   "<li>Line 2: <span>Länge is &#34;wide&#34;: a number such as",
		strings.Replace(table, "walls", "roofs", 1): "<li>Line 2: <span>Measured by is &#34;roofs&#34;: use one of quantity",
		strings.Replace(table, "sand", "juggle", 1): "<li>Line 3: <span>Task is &#34;juggle&#34;: a standard task",
		strings.Replace(table, "Hall;", ";", 1):     "<li>Line 2: <span>Raum: it must be given",
		"a;b\n1;2\n":                                "no header row in the first 20 rows has every column",
		"":                                          "it is empty",
		"room,task\n" + strings.Repeat("x,\n", 201): "at most 200 rows",
	} {
		status, page := s.sendTakeOff(t, wrong)
		if status != http.StatusUnprocessableEntity || !strings.Contains(page, want) || strings.Contains(page, "Pieces of work:") {
			t.Errorf("%.60q: status %d, the page has not %q", wrong, status, want)
		}
	}
}
