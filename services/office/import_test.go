package office

import (
	"bytes"
	"encoding/csv"
	"mime/multipart"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"daysheet/events"
)

// upload sends a file as a browser does. Pairs are further fields.
func (s *stack) upload(content string, pairs ...string) reply {
	s.t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for i := 0; i+1 < len(pairs); i += 2 {
		must(s.t, w.WriteField(pairs[i], pairs[i+1]))
	}
	file, err := w.CreateFormFile("file", "table.csv")
	must(s.t, err)
	_, err = file.Write([]byte(content))
	must(s.t, err)
	must(s.t, w.Close())
	request, err := http.NewRequest(http.MethodPost, s.address+"/office/import", &body)
	must(s.t, err)
	request.Header.Set("Content-Type", w.FormDataContentType())
	return s.do("owner", request)
}

// recordIt presses the button below a dry run, and says what the page says then.
func (s *stack) recordIt(r reply) string {
	s.t.Helper()
	action, values := formOf(s.t, r.page)
	if action != "/office/import/record" {
		s.t.Fatalf("the page offers %s: %s", action, r.text())
	}
	done := s.post("owner", action, values)
	if done.status != http.StatusSeeOther {
		s.t.Fatalf("status %d: %s", done.status, done.text())
	}
	return s.get("owner", done.at).text()
}

func TestPurchasesAsATable(t *testing.T) {
	s := newStack(t)
	s.settle("nl-NL")
	table := "Datum ist hier date;product;quantity;cost\n2026-03-04;Wall paint, matt;40;371,33\n"
	if r := s.upload(table, "table", "purchases"); r.status != 422 || !strings.Contains(r.text(), "missing: date") {
		t.Fatalf("status %d: %s", r.status, r.text())
	}
	table = "date;product;quantity;cost\n4.3.2026;Wall paint, matt;40;371,33\n2026-03-05;board;zehn;41,20\n"
	before := len(s.all("firm"))
	r := s.upload(table, "table", "purchases")
	if r.status != http.StatusOK || !strings.Contains(r.text(), "Line 3: quantity is \"zehn\"") ||
		!strings.Contains(r.text(), "Records that would be made: 1.") || len(s.all("firm")) != before {
		t.Fatalf("status %d: %s", r.status, r.text())
	}
	if said := s.recordIt(r); !strings.Contains(said, "Recorded: 1.") {
		t.Errorf("the page says %s", said)
	}
	s.is(s.last("firm"), events.MaterialPurchased,
		`{"product":"wall-matt","quantity_milli":40000,"unit":"l","cost_e4":3713300,"day":"2026-03-04"}`)
	// The mended file: what was recorded is not recorded twice.
	r = s.upload(strings.Replace(table, "zehn", "10", 1), "table", "purchases")
	if said := s.recordIt(r); !strings.Contains(said, "Recorded: 1. Already there and not recorded again: 1.") {
		t.Errorf("the page says %s", said)
	}
	if len(s.all("firm")) != before+2 {
		t.Errorf("%d records were made", len(s.all("firm"))-before)
	}
}

func TestHoursAsATable(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	s.put("hall", events.JobOpened, events.Opening{JobType: "exterior", Title: "Hall"})
	table := "date,job,person,task,hours\n03/04/2026,Hall,Una,coat,7:30\n03/04/2026,Hall,Una,coat,7:30\n"
	r := s.upload(table, "table", "hours", "order", "month")
	if !strings.Contains(r.text(), "Line 3: left out: it says exactly what line 2 says") {
		t.Fatalf("status %d: %s", r.status, r.text())
	}
	s.recordIt(r)
	s.is(s.last("hall"), events.HoursBooked, `{"person":"una","task":"coat","minutes":450,"day":"2026-03-04"}`)
	// Asked to keep the row that says the same, from the page of the dry run.
	values := url.Values{}
	walk(r.page, func(n *html.Node) {
		if name, _ := attribute(n, "name"); name == "content" {
			content, _ := attribute(n, "value")
			values.Set("content", content)
		}
	})
	values.Set("table", "hours")
	values.Set("order", "month")
	values.Set("keep", "on")
	kept := s.post("owner", "/office/import", values)
	if said := s.recordIt(kept); !strings.Contains(said, "Recorded: 1. Already there and not recorded again: 1.") {
		t.Errorf("the page says %s", said)
	}
	if len(s.all("hall")) != 3 {
		t.Errorf("%d records on the job", len(s.all("hall")))
	}
}

// TestProductsOutAndIn: the table of products that is handed out comes in again and
// changes nothing; with one price changed it makes one record.
func TestProductsOutAndIn(t *testing.T) {
	s := newStack(t)
	s.settle("nl-NL")
	s.put(events.FirmJob, events.ProductListed, events.Product{Product: "tape", Name: "=Tape; 30 mm \"x\"", Unit: events.Roll,
		PriceE4: 33_705, CleanRemovalDays: 14, RecoatMinutes: 270, VolumeSolidsBasisPoints: 4_550, SpreadingRateMilli: 11_250})
	out := s.get("owner", "/office/export/products.csv")
	if out.status != http.StatusOK || !strings.Contains(out.body, "'=Tape") {
		t.Fatalf("status %d: %s", out.status, out.body)
	}
	if r := s.upload(out.body, "table", "products"); !strings.Contains(r.text(), "Records that would be made: 0.") ||
		!strings.Contains(r.text(), "Rows that cannot be taken as they are: 0.") {
		t.Errorf("the same table comes to %s", r.text())
	}
	r := s.upload(strings.Replace(out.body, "9,73", "9,99", 1), "table", "products")
	s.recordIt(r)
	s.is(s.last("firm"), events.ProductListed,
		`{"product":"wall-matt","name":"Wall paint, matt","unit":"l","price_e4":99900,"pack_milli":10000}`)
	for _, table := range importTables(nil) {
		file := s.get("owner", table.Example)
		r := csv.NewReader(strings.NewReader(strings.TrimPrefix(file.body, "\ufeff")))
		r.Comma = ';'
		rows, err := r.ReadAll()
		if err != nil || len(rows) < 2 || len(rows[0]) < len(table.Columns) {
			t.Errorf("%s: %v: %q", table.Example, err, rows)
		}
	}
	s.sent("/office/record/material-purchased", "product", "wall-matt", "quantity_milli", "40", "unit", "l", "cost_e4",
		"371,33", "supplier", "=Invented merchant")
	for file, want := range map[string]string{
		"people": "name;grade;person\r\nUna;painter;una\r\n", "grades": "painter;38,45", "tasks": "Strip paper;preparation;m2;paper-strip",
		"job-types": "Stairwell and joinery;stairwell", "recorded-purchases": "wall-matt;Wall paint, matt;40;l;371,33;'=Invented",
	} {
		if r := s.get("owner", "/office/export/"+file+".csv"); r.status != http.StatusOK || !strings.Contains(r.body, want) {
			t.Errorf("%s: status %d: %s", file, r.status, r.body)
		}
	}
	if r := s.upload(s.get("owner", "/office/export/recorded-purchases.csv").body, "table", "purchases"); !strings.Contains(r.text(), "cost") ||
		strings.Contains(r.text(), "Records that would be made: 1.") {
		t.Errorf("what was bought would be bought again: %s", r.text())
	}
	if r := s.get("owner", "/office/export/cats.csv"); r.status != http.StatusNotFound {
		t.Errorf("an unknown table: status %d", r.status)
	}
}

// TestEveryListOutAndIn: each list that is handed out comes in again and changes nothing, in
// a locale with a decimal comma and in one with a point; a changed row is one record.
func TestEveryListOutAndIn(t *testing.T) {
	s := newStack(t)
	s.put("hall", events.JobOpened, events.Opening{JobType: "exterior", Title: "=Hall; \"north\"", Built: 1936, Due: "2026-03-04"})
	s.put(events.FirmJob, events.ProductListed, events.Product{Product: "matt", Name: "Matt", Unit: events.Litre, PriceE4: 97_300})
	for _, locale := range []string{"en-IE", "de-AT"} {
		s.settle(locale)
		s.put(events.FirmJob, events.RateBookRevised, events.RateBook{Revision: "from-" + strings.ToLower(locale),
			EffectiveFrom: "2026-01-01", Rates: []events.Rate{
				{Task: "sand", Unit: events.SquareMetre, MinutesMilli: 4_500, Source: "own-history", Jobs: 7},
				{Task: "coat", Surface: "wall", Method: "roller", Unit: events.SquareMetre, MinutesMilli: 9_125, Source: "published",
					Consumables: []events.RateUse{{Product: "matt", Unit: events.Litre, QuantityMilli: 110},
						{Product: "wall-matt", Unit: events.Litre, QuantityMilli: 21}}}}})
		for table, change := range map[string][2]string{"jobs": {"Hall", "Hall, hall"}, "people": {"Una", "Una B."}, "grades": {"38", "39"},
			"job-types": {"Stairwell and", "Stairs and"}, "tasks": {"Strip paper", "Strip old paper"}, "rates": {"4", "44"},
			"products": {"Matt", "Matt white"}} {
			before := len(s.all(events.FirmJob)) + len(s.all("hall"))
			out := s.get("owner", exportPath+table+".csv").body
			r := s.upload(out, "table", table)
			if action, _ := formOf(t, r.page); action == "/office/import/record" || r.status != http.StatusOK {
				t.Errorf("%s in %s comes to more: %d %s", table, locale, r.status, r.text())
				continue
			}
			head, rows, _ := strings.Cut(out, "\n")
			s.recordIt(s.upload(head+"\n"+strings.Replace(rows, change[0], change[1], 1), "table", table))
			if made := len(s.all(events.FirmJob)) + len(s.all("hall")) - before; made != 1 {
				t.Errorf("%s in %s: a changed row made %d records", table, locale, made)
			}
		}
	}
	if r := s.upload("Bezeichnung;Auftragsart;Beginn\nStiege;Exterior;4.3.2026\nDach;Schloss;\n", "table", "jobs"); !strings.Contains(r.text(),
		"Zeile 3: Auftragsart ist „Schloss“: eine Auftragsart der Einstellungen: zuerst dort hinzufügen.") ||
		!strings.Contains(r.text(), "Einträge, die entstünden: 1.") {
		t.Errorf("a German table of jobs: %s", r.text())
	}
}

func TestPastJobsAsASheet(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	r := s.upload("job,title,job type,date,kind,task,hours,price\nJ-9,Old hall,exterior,2025-03-04,estimate,coat,8,400\n"+
		"J-9,,,2025-03-05,day sheet,coat,7:30,\nJ-9,,,2025-03-06,billed,,,400\n", "table", "past-jobs")
	s.recordIt(r)
	if all := s.all("j-9"); len(all) != 5 || all[0].Type != events.JobOpened || all[4].Type != events.JobClosed {
		t.Errorf("the job is %v", all)
	}
}

func TestTablesThatCannotBeRead(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	for name, r := range map[string]reply{
		"Choose a file first":         s.upload("", "table", "hours"),
		"no such table comes in here": s.upload("x", "table", "cats"),
		"UTF-16":                      s.upload("\xff\xfex", "table", "hours"),
		"the table did not arrive":    s.post("owner", "/office/import/record", url.Values{"table": {"hours"}, "content": {"!"}}),
	} {
		if r.status != 422 || !strings.Contains(strings.ToLower(r.text()), strings.ToLower(name)) {
			t.Errorf("%q: status %d: %s", name, r.status, r.text())
		}
	}
	if r := s.upload(strings.Repeat("x", 9<<20), "table", "hours"); r.status != 422 || !strings.Contains(r.text(), "At most 8 MiB") {
		t.Errorf("a large file: status %d", r.status)
	}
}

// TestNoFormulaGoesOut: whatever names begin with, no field of a table that is taken
// out begins so that a spreadsheet reckons it. Numbers below zero are none.
func TestNoFormulaGoesOut(t *testing.T) {
	s := newStack(t)
	for _, sign := range []string{"=", "+", "-", "@", "'="} {
		name := sign + "1+cmd, \"of\""
		s.put(events.FirmJob, events.FirmSettingsChanged, events.Settings{Name: name, Currency: "EUR", TimeZone: "UTC",
			JobTypes: []events.JobType{{JobType: "flat", Name: name}}, Grades: []events.Grade{{Grade: "painter"}},
			Tasks:  []events.FirmTask{{Task: "strip", Family: events.FamilyPreparation, Unit: events.SquareMetre, Name: name}},
			People: []events.FirmPerson{{Person: "una", Name: name, Grade: "painter"}}})
		s.put(events.FirmJob, events.ProductListed, events.Product{Product: "matt", Name: name, Unit: events.Litre})
		bought := s.event(events.FirmJob, events.MaterialPurchased, events.Purchase{Product: "matt", QuantityMilli: 1000,
			Unit: events.Litre, Supplier: name})
		bought.ID = "-A1-" + strings.Repeat("B", 8) + strconv.Itoa(len(s.all(events.FirmJob)))
		s.take(bought)
		for _, table := range []string{"people", "grades", "job-types", "tasks", "products", recordedPurchases} {
			r := s.get("owner", "/office/export/"+table+".csv")
			rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(r.body, "\ufeff"))).ReadAll()
			must(t, err)
			named := table == "grades"
			for _, field := range slices.Concat(rows...) {
				named = named || field == "'"+name
				if _, err := strconv.ParseFloat(field, 64); err != nil && field != "" && strings.Contains("=+-@", field[:1]) {
					t.Errorf("%s holds %q", table, field)
				}
			}
			if !named {
				t.Errorf("%s does not hold the name: %s", table, r.body)
			}
		}
	}
}

// TestRowsNameTheColumnsOfTheFile: in the language of the page, and by the header that was
// read, whatever language that is in.
func TestRowsNameTheColumnsOfTheFile(t *testing.T) {
	s := newStack(t)
	for _, c := range []struct{ locale, table, content, want string }{
		{"de-AT", "people", "Name;Lohngruppe\nTarn;Gehilfe\n", "Zeile 2: Lohngruppe ist „Gehilfe“: "},
		{"de-AT", "people", "Name;Grade\nTarn;Gehilfe\n", "Zeile 2: Grade ist „Gehilfe“: "},
		{"de-AT", "past-jobs", "Job;Day\na;32.1.2026\n", "Zeile 2: Day ist „32.1.2026“: "},
		{"en-IE", "people", "Name;Lohngruppe\nTarn;Gehilfe\n", "Line 2: Lohngruppe is \"Gehilfe\": "},
		{"en-IE", "past-jobs", "Job;Day\na;32.1.2026\n", "Line 2: Day is \"32.1.2026\": "},
	} {
		s.settle(c.locale)
		r := s.upload(c.content, "table", c.table)
		if !strings.Contains(r.text(), c.want) || strings.Contains(r.body, `<span lang="en"`) {
			t.Errorf("%s, %s: status %d, the page does not say %s: %s", c.locale, c.table, r.status, c.want, r.text())
		}
	}
}

// TestGermanSpreadsheets: files as a German spreadsheet saves them, with a byte order mark,
// semicolons, lines that end with CR LF and German words for everything, or in Windows-1252.
func TestGermanSpreadsheets(t *testing.T) {
	s := newStack(t)
	s.settle("de-AT")
	s.put("hall", events.JobOpened, events.Opening{JobType: "exterior", Title: "Hall"})
	for _, c := range []struct{ table, file, job, want string }{
		{"hours", "\ufeffDatum;Auftrag;Wer;Tätigkeit;Stunden\r\n04.03.2026;hall;Una;Fläche streichen;7,5\r\n", "hall",
			`{"day":"2026-03-04","minutes":450,"person":"una","task":"coat"}`},
		{"tasks", "Name;Gruppe;Einheit\r\nT\xfcrschlie\xdfer \x96 alt;Vorbereitung;St\xfcck\r\n", "firm",
			`{"family":"preparation","name":"Türschließer – alt","task":"tuerschliesser-alt","unit":"each"}`},
		{"products", "Name;Einheit;Preis;Gebinde;Wiederverwendbar\r\n\"Folie\r\n4 \xd7 5 m\";Rollen;1.234,50 \x80;1;ja\r\n", "firm",
			`"name":"Folie 4 × 5 m","pack_milli":1000,"price_e4":12345000,"product":"folie-4-5-m","reusable":true,"unit":"roll"`},
		{"past-jobs", "sep=;\r\nAuftrag;Bezeichnung;Auftragsart;Datum;Art;Tätigkeit;Menge;Einheit;Stunden;Preis\r\n" +
			"A-9;Stiege;Exterior;4.3.2025;Angebot;Leisten lackieren;12,5;lfm;8;400,00\r\n;;;5.3.2025;Stundenzettel;Schleifen;;;1:30;\r\n" +
			";;;6.3.2025;Rechnung;;;;;400\r\n", "a-9", `{"billed_e4":4000000}`},
	} {
		r := s.upload(c.file, "table", c.table)
		if r.status != http.StatusOK || !strings.Contains(r.text(), "Zeilen, die so nicht gehen: 0.") {
			t.Errorf("%s: status %d: %.2000s", c.table, r.status, r.text())
			continue
		}
		s.recordIt(r)
		if got := string(s.last(c.job).Data); !strings.Contains(got, c.want) {
			t.Errorf("%s: %s, not %s", c.table, got, c.want)
		}
	}
	for file, want := range map[string]string{
		"Datum;Auftrag;Wer;Tätigkeit;Stunden\r\n":    "Es gibt nichts zu erfassen.", // the head alone
		"Datum;Auftrag\r\n":                          "fehlt: person, task, hours",
		"\xff\xfeD\x00":                              "UTF-16",
		strings.Repeat("Datum;Auftrag\r\n", 600_000): "Höchstens 8 MiB kommen hier hinein",
	} {
		if r := s.upload(file, "table", "hours"); !strings.Contains(r.text(), want) {
			t.Errorf("%.30q: status %d, the page does not say %s: %.1500s", file, r.status, want, r.text())
		}
	}
}
