package history

import (
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"daysheet/events"
)

// read reads a small sheet.
func read(t *testing.T, text string, opts Options) Plan {
	t.Helper()
	opts.Firm = "quillmarsh"
	plan, err := Read(strings.NewReader(text), opts)
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

// typesOf lists the types of a plan's events with their day, in order.
func typesOf(plan Plan) string {
	var b strings.Builder
	for _, batch := range plan.Batches {
		for _, e := range batch.Events {
			name := strings.TrimSuffix(strings.TrimPrefix(string(e.Type), "daysheet."), ".v1")
			b.WriteString(name + " " + string(e.Day()) + "\n")
		}
	}
	return b.String()
}

const small = `job,job type,date,kind,task,quantity,hours,person,product,unit,unit price,price
a 1,exterior,1.2.2025,estimate,wash,10,1,,,,,
,,,,coat,10,2,,,,,300
,,3.2.2025,day sheet,wash,10,1:15,Quen,,,,
,,4.2.2025,,mask edge,12,20 min,Quen,,,,
,,4.2.2025,,coat,10,,Quen,render paint,,,
,,,,coat,,30,,,,,
,,,material,,2,,,render paint,l,9.5,
,,,material,,-1,,,render paint,l,9.5,
,,9.2.2025,billed,,,,,,,,310
`

// TestRead shows what each kind of row comes to.
func TestRead(t *testing.T) {
	zone := time.FixedZone("summer", 2*3600)
	plan := read(t, small, Options{Zone: zone})
	if len(plan.Errors) > 0 {
		t.Fatal(plan.Errors)
	}
	want := `job.opened 2025-02-01
estimate.issued 2025-02-01
estimate.accepted 2025-02-01
hours.booked 2025-02-03
surface.prepared 2025-02-03
hours.booked 2025-02-04
protection.laid 2025-02-04
coat.applied 2025-02-04
hours.booked 2025-02-04
hours.booked 2025-02-04
material.used 2025-02-04
material.returned 2025-02-04
protection.lifted 2025-02-09
job.closed 2025-02-09
`
	if got := typesOf(plan); got != want {
		t.Errorf("events:\n%s\nwant:\n%s", got, want)
	}
	if record(t, map[string]*events.Job{}, plan) != 14 {
		t.Error("not all events were new")
	}
	if at := plan.Batches[0].Events[3].Time; at != "2025-02-03T12:00:00+02:00" {
		t.Errorf("hours at %s", at)
	}
	// 30 h of the crew in one row are two bookings: 24 h and 6 h.
	f := addUp(t, plan)
	if got := f.done[[2]string{"a-1", "coat"}]; got != (amount{30 * 60, 10_000}) {
		t.Errorf("coat: %v", got)
	}
	if got := f.material["a-1"]; got != 19_0000 { // 2 l at 9.50
		t.Errorf("material: %d", got)
	}
}

// TestSeparators: one sheet in three dialects gives the same events.
func TestSeparators(t *testing.T) {
	want := typesOf(read(t, small, Options{}))
	for name, text := range map[string]string{
		"semicolon":  strings.ReplaceAll(small, ",", ";"),
		"tab":        strings.ReplaceAll(small, ",", "\t"),
		"bom, CRLF":  "\ufeff" + strings.ReplaceAll(small, "\n", "\r\n"),
		"title line": "\"Our jobs; 2025, south\"\n\n" + small,
		"names":      strings.Replace(small, "job,job type,date", "JOB_NO,Job-Type,Day", 1),
	} {
		plan := read(t, text, Options{})
		if got := typesOf(plan); got != want {
			t.Errorf("%s: %v\n%s", name, plan.Errors, got)
		}
	}
}

// TestSameIds: the order of rows and rows added later do not change ids.
func TestSameIds(t *testing.T) {
	before := idsOf(t, read(t, small, Options{}))
	more := small + "a 2,exterior,1.3.2025,day sheet,wash,5,1,Quen,,,,\n,,,,wash,5,1,Tarnel,,,,\n"
	for id := range before {
		if !idsOf(t, read(t, more, Options{}))[id] {
			t.Errorf("%s is gone", id)
		}
	}
	swapped := strings.Replace(more, "wash,5,1,Quen,,,,\n,,,,wash,5,1,Tarnel", "wash,5,1,Tarnel,,,,\n,,,,wash,5,1,Quen", 1)
	ids := idsOf(t, read(t, swapped, Options{}))
	for id := range idsOf(t, read(t, more, Options{})) {
		if !ids[id] {
			t.Errorf("%s depends on the order of rows", id)
		}
	}
	other, err := Read(strings.NewReader(small), Options{Firm: "other"})
	if err != nil {
		t.Fatal(err)
	}
	for id := range idsOf(t, other) {
		if before[id] {
			t.Errorf("%s is an id of two firms", id)
		}
	}
}

// TestRowRules breaks each rule of a row.
func TestRowRules(t *testing.T) {

	const header = "job;title;job type;date;kind;task;surface;coat;quantity;unit;hours;person;product;" +
		"unit price;cost;price\n"
	for _, c := range []struct{ name, rows, want string }{
		{"no job", ";;exterior;1.1.25;billed;;;;;;;;;;;5", "line 2: job: it must be given"},
		{"firm", "Firm;;exterior;1.1.25;billed;;;;;;;;;;;5", "line 2: job is \"Firm\": this name is kept"},
		{"no letters", "№;;exterior;1.1.25;billed;;;;;;;;;;;5", "line 2: job is \"№\": at least one letter"},
		{"no date", "a;;exterior;;billed;;;;;;;;;;;5", "line 2: date: give it on the first row"},
		{"date of another job", "a;;exterior;1.1.25;billed;;;;;;;;;;;5\nb;;exterior;;billed;;;;;;;;;;;5",
			"line 3: date: give it"},
		{"no job type", "a;;;1.1.25;billed;;;;;;;;;;;5", "line 2: job type: give it on one row"},
		{"two job types", "a;;exterior;1.1.25;billed;;;;;;;;;;;5\n;;inside;;;;;;;;;;;;;6",
			"line 3: job type is \"inside\": this job is of type exterior"},
		{"column not used", "a;;exterior;1.1.25;billed;wash;;;;;;;;;;5",
			"line 2: task is \"wash\": not used on a row of kind billed"},
		{"cells too many", "a;;exterior;1.1.25;billed;;;;;;;;;;;5;7", "line 2: \"7\": more cells than the header has"},
		{"negative", "a;;exterior;1.1.25;day sheet;wash;;;-5;;;;;;;", "line 2: quantity is \"-5\": not negative"},
		{"nothing done", "a;;exterior;1.1.25;day sheet;wash;;;;;;;;;;", "line 2: hours: a day sheet row has hours"},
		{"no task", "a;;exterior;1.1.25;day sheet;;;;;;2;;;;;", "line 2: task: a day sheet row says"},
		{"coat", "a;;exterior;1.1.25;day sheet;coat;;0;5;;;;;;;", "line 2: coat is \"0\": a whole number"},
		{"product of a preparation", "a;;exterior;1.1.25;day sheet;wash;;;5;;;;soap;;;",
			"line 2: product is \"soap\": put material"},
		{"hours of the crew", "a;;exterior;1.1.25;day sheet;wash;;;;;1001;;;;;", "line 2: hours is \"1001\": at most 1000"},
		{"no product", "a;;exterior;1.1.25;material;;;;5;l;;;;;4;", "line 2: product: a material row"},
		{"no amount", "a;;exterior;1.1.25;material;;;;;l;;;paint;;4;", "line 2: quantity: a row with material"},
		{"no unit", "a;;exterior;1.1.25;material;;;;5;;;;paint;;4;", "line 2: unit: give the unit"},
		{"hours and material", "a;;exterior;1.1.25;estimate;wash;;;5;l;2;;paint;;4;",
			"line 2: hours is \"2\": hours and material"},
		{"unit price of work", "a;;exterior;1.1.25;estimate;wash;;;5;;2;;;3;;",
			"line 2: unit price is \"3\": a unit price is"},
		{"empty estimate row", "a;;exterior;1.1.25;estimate;;;;;;;;;;;", "line 2: task: a row of kind estimate"},
		{"estimate without work", "a;;exterior;1.1.25;estimate;;;;;;;;;;;500",
			"line 2: task: an estimate has at least one row"},
		{"no bill", "a;;exterior;1.1.25;billed;;;;;;;;;;;", "line 2: price: say what was charged"},
		{"title too long", "a;" + strings.Repeat("x", 130) + ";exterior;1.1.25;billed;;;;;;;;;;;5", "line 2: title is \"xxx"},
	} {
		plan := read(t, header+c.rows+"\n", Options{SkipBad: true})
		if len(plan.Errors) != 1 || !strings.HasPrefix(plan.Errors.Error(), c.want) {
			t.Errorf("%s: %v; want %s", c.name, plan.Errors, c.want)
		}
	}
}

// TestFileRules: what cannot be read at all is an error of the file.
func TestFileRules(t *testing.T) {
	for name, text := range map[string]string{
		"empty": " \n", "no header": "a;b\n1;2\n", "utf-16": "\xff\xfej\x00",
		"two columns alike": "job;date;day\n", "nothing but a title": "our jobs\n",
	} {
		if _, err := Read(strings.NewReader(text), Options{Firm: "quillmarsh"}); events.CodeOf(err) != events.Invalid {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Read(strings.NewReader(small), Options{Firm: "Not A Key"}); events.CodeOf(err) != events.Invalid {
		t.Errorf("firm: %v", err)
	}
	if _, err := Read(strings.NewReader(small), Options{Firm: "quillmarsh",
		Decimal: ";"}); events.CodeOf(err) != events.Invalid {
		t.Errorf("decimal: %v", err)
	}
	closed, err := os.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	closed.Close()
	if _, err := Read(closed, Options{Firm: "quillmarsh"}); !errors.Is(err, os.ErrClosed) {
		t.Errorf("closed file: %v", err)
	}
}

// TestWindows1252: spreadsheets write it where nobody asks for UTF-8. The bytes are those of
// the index of the WHATWG Encoding Standard: 80 the euro, 84 and 93 the German quotation
// marks, 96 the dash, 9A and 9F letters, B2 the square.
func TestWindows1252(t *testing.T) {
	plan := read(t, "job,title,job type,date,kind,task,quantity,unit\n"+
		"a,\x84Haus\x93 \x96 \x9a\x9f \x80,exterior,1.1.2025,day sheet,wash,5,m\xb2\n", Options{})
	if len(plan.Errors) > 0 || plan.Summary.Events != 2 ||
		!strings.Contains(string(plan.Batches[0].Events[0].Data), `"title":"„Haus“ – šŸ €"`) {
		t.Errorf("%v, %+v", plan.Errors, plan)
	}
	if at := string(windows1252[:]); strings.Count(at, " ") != 5 {
		t.Errorf("%q has another number of bytes that stand for nothing", at)
	}
}

// TestColumns: each column is found by each of its names, and by no other's.
func TestColumns(t *testing.T) {
	names := map[string]bool{}
	for i, c := range Columns() {
		for _, name := range append(c.Also, c.Name, strings.ToUpper(c.Name)+"_") {
			if got, ok := columnNamed(name); !ok || int(got) != i {
				t.Errorf("%q is column %d; want %d", name, got, i)
			}
		}
		if c.Meaning == "" || c.Example == "" || names[c.Name] {
			t.Errorf("column %q", c.Name)
		}
		names[c.Name] = true
	}
}
