package main

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"daysheet/services/tables"
)

// csvOf are the headers of a table that is sent.
var csvOf = []string{"Content-Type", "text/csv"}

// sendCSV sends a table and returns what it came to.
func sendCSV(t *testing.T, c *client, want int, path, table string) (came tables.Body) {
	t.Helper()
	answer := mustSend(t, c, want, "POST", tables.At+path, table, csvOf...)
	if err := json.Unmarshal([]byte(answer), &came); err != nil {
		t.Fatalf("%s: %v in %s", path, err, answer)
	}
	return came
}

// TestTablesOutAndIn: every list that a program takes out comes in again and changes nothing,
// in a locale with a decimal point and in one with a comma; and so does a changed row the
// second time.
func TestTablesOutAndIn(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	t.Cleanup(func() { mustClose(t, a) })
	c := mustInvent(t, a, 12)
	mustSend(t, c, 201, "PUT", "/v1/customers/c-1", `{"name":"Iris; \"invented\"","address":"1 Invented Lane\nQuillmarsh"}`)
	for _, locale := range []string{"en", "de"} {
		if locale == "de" {
			mustSpeakGerman(t, a, c)
		}
		for table, change := range map[string][2]string{
			"jobs": {"Kitchen", "Large kitchen"}, "people": {"\n", "\n'=New ? "}, "grades": {"\n", "\nnew-?-"},
			"job-types": {"\n", "\nNew ? "},
			"products":  {"\n", "\nNew ? "}, "rates": {"own-history", "from-memory"}, "customers": {"Quillmarsh", "Upper " +
				"Quillmarsh"},
			"tasks": {}, "hours": {}, "purchases": {}, "counts": {}, "past-jobs": {},
		} {
			out := string(mustGet(t, c, tables.At+table))
			if got := sendCSV(t, c, 200, table,
				out); got.Recorded != 0 || got.Summary.Bad != 0 || got.Summary.Rows != rowsBelow(t, out) {
				t.Errorf("%s in %s comes to %+v of\n%s", table, locale, got, out)
			}
			if change[0] == "" {
				continue
			}
			head, rows, _ := strings.Cut(out, "\r\n")
			changed := head + strings.Replace("\r\n"+rows, change[0], strings.ReplaceAll(change[1], "?", locale), 1)
			if got := sendCSV(t, c, 200, table+"?dry_run=true", changed); !got.DryRun || got.Recorded != 1 {
				t.Errorf("%s in %s, one row changed, would come to %+v of\n%s", table, locale, got, changed)
			}
			if got := sendCSV(t, c, 201, table, changed); got.Recorded != 1 {
				t.Errorf("%s in %s, one row changed, comes to %+v", table, locale, got)
			}
			if got := sendCSV(t, c, 200, table, changed); got.Recorded != 0 || got.Before != 0 {
				t.Errorf("%s in %s, sent twice, comes to %+v", table, locale, got)
			}
		}
	}
	if out := string(mustGet(t, c, tables.At+"recorded-purchases")); !strings.HasPrefix(out, "\ufeffday;product;") {
		t.Errorf("what was bought goes out as %.200q", out)
	}
}

// rowsBelow counts the rows below the head of a table that went out.
func rowsBelow(t *testing.T, out string) int {
	t.Helper()
	r := csv.NewReader(strings.NewReader(out))
	if head, _, _ := strings.Cut(out, "\r\n"); strings.Contains(head, ";") {
		r.Comma = ';'
	}
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return len(rows) - 1
}

// TestTablesAreRefusedByRow: each row that cannot be taken is named by its line and by the
// column of its own header; the good ones are recorded where that is asked for, and once.
func TestTablesAreRefusedByRow(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	t.Cleanup(func() { mustClose(t, a) })
	c := mustInvent(t, a, 1)
	openJob(t, c, "hall", "c-1", snag("hall"))
	mustCatchUp(t, a)
	sheet := "Datum;Auftrag;Wer;Tätigkeit;Stunden\n2026-03-04;hall;tarn;coat;7:30\n2026-03-04;nowhere;tarn;coat;1\n" +
		"2026-03-05;hall;tarn;coat;1\n2026-03-05;hall;tarn;coat;1\n"
	type refused struct {
		Type   string
		Errors []struct {
			Message, Field, Value, Rule string
			Line                        int
		}
	}
	var got refused
	answer := mustSend(t, c, 422, "POST", tables.At+"hours", sheet, csvOf...)
	if err := json.Unmarshal([]byte(answer), &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Errors) != 1 || got.Type != "/problems/invalid" || got.Errors[0].Line != 3 || got.Errors[0].Field != "Auftrag" ||
		got.Errors[0].Value != "nowhere" || !strings.HasPrefix(got.Errors[0].Rule, "a job that is in the ledger") {
		t.Errorf("refused as %s", answer)
	}
	if dry := sendCSV(t, c, 200, "hours?dry_run=true&skip_bad=true", sheet); dry.Recorded != 2 || len(dry.Errors) != 1 ||
		len(dry.Notices) != 1 || dry.Summary.Rows != 4 || dry.Summary.Bad != 1 || dry.Summary.Repeats != 1 {
		t.Errorf("a dry run comes to %+v", dry)
	}
	if first := sendCSV(t, c, 201, "hours?skip_bad=true", sheet); first.Recorded != 2 || first.Before != 0 {
		t.Errorf("the good rows come to %+v", first)
	}
	if more := sendCSV(t, c, 201, "hours?skip_bad=true&keep_repeats=true", sheet); more.Recorded != 1 || more.Before != 2 {
		t.Errorf("with rows that say the same they come to %+v", more)
	}
	for path, want := range map[string]int{"cats": 422, "take-off": 422, "people?decimal=x": 422, "people": 422} {
		if status, answer := send(t, c, "POST", tables.At+path, "x;y\n", csvOf...); status != want {
			t.Errorf("%s is answered with %d: %s", path, status, answer)
		}
	}
	mustSend(t, c, 415, "POST", tables.At+"people", "{}")
	mustSend(t, c, 413, "POST", tables.At+"people", strings.Repeat("x", tables.BytesMax+1), csvOf...)
	mustSend(t, c, 422, "POST", tables.At+"customers", "name;customer\nNew;C 4\n", csvOf...)
	if some := sendCSV(t, c, 201, "customers?skip_bad=true",
		"name;customer\nNew;C 4\nOtto;c-4\n"); some.Recorded != 1 || some.Errors[0].Field != "customer" {
		t.Errorf("customers: %+v", some)
	}
}

// TestTakeOffAsATable: what a table of rooms comes to is what a quote is priced from.
func TestTakeOffAsATable(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	t.Cleanup(func() { mustClose(t, a) })
	c := mustInvent(t, a, 1)
	answer := mustSend(t, c, 200, "POST", tables.At+"take-off", "Raum;Länge;Breite;Höhe;Tätigkeit;Untergrund;"+
		"Verfahren;Gemessen an;Anstriche\nhall;4,2;3,1;2,5;coat;plaster;roller;Wände;2\n", csvOf...)
	var read struct {
		Rows    int            `json:"rows"`
		TakeOff map[string]any `json:"take_off"`
	}
	if err := json.Unmarshal([]byte(answer), &read); err != nil || read.Rows != 1 {
		t.Fatalf("%v: %s", err, answer)
	}
	read.TakeOff["grade"] = "painter" // which the table does not say
	body, err := json.Marshal(read.TakeOff)
	if err != nil {
		t.Fatal(err)
	}
	// 2 × (4.2 + 3.1) × 2.5 are 36.5 square metres of wall, coated twice.
	if quote := mustSend(t, c, 200, "POST", "/v1/quotes", string(body)); !strings.Contains(quote, `"quantity_milli":73000,"unit":"m2"`) {
		t.Errorf("%s is priced as %s", body, quote)
	}
}

// TestTablesByCommand: a list goes out by the command and comes in again by it, with a dry
// run; what a row got wrong ends it.
func TestTablesByCommand(t *testing.T) {
	folder, file := t.TempDir(), filepath.Join(t.TempDir(), "people.csv")
	a := mustOpen(t, folder)
	mustInvent(t, a, 1)
	mustClose(t, a)
	command := func(want int, args ...string) string {
		t.Helper()
		return stdoutOf(t, func() {
			if code := run(t.Context(), append(args, "--data", folder, "--firm", demoFirm)); code != want {
				t.Errorf("%v ends with %d", args, code)
			}
		})
	}
	command(0, "export", "--table", "people", "-o", file)
	out := content(t, file)
	if said := command(0, "import", "--table", "people", file); !strings.Contains(said, "0 events recorded, 0 were "+
		"there before") {
		t.Errorf("the same people: %s", said)
	}
	more := out + "Tarn (invented);painter;tarn-2\r\n"
	if !strings.Contains(out, ";") {
		more = out + "Tarn (invented),painter,tarn-2\r\n"
	}
	if err := os.WriteFile(file, []byte(more), 0o600); err != nil {
		t.Fatal(err)
	}
	if said := command(0, "import", "--table", "people", file, "--dry-run"); !strings.Contains(said, "1 events; 0 rows "+
		"with errors") ||
		!strings.Contains(said, "nothing was recorded") {
		t.Errorf("a dry run of one more: %s", said)
	}
	for _, want := range []string{"1 events recorded", "0 events recorded"} {
		if said := command(0, "import", "--table", "people", file); !strings.Contains(said, want) {
			t.Errorf("one more: %s", said)
		}
	}
	if err := os.WriteFile(file, []byte("name,grade\nBo,astronaut\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	command(exitFailed, "import", "--table", "people", file)
	command(exitFailed, "import", "--table", "cats", file)
	command(exitFailed, "import", "--table", "people", file, "--no-listing")
}
