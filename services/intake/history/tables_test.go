package history

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/services/typed"
)

func tableOptions() Options {
	return Options{Firm: "north", Decimal: typed.DecimalPoint, Jobs: map[string]events.Opening{"j-104": {}, "hall": {}},
		Now: time.Date(2026, 6, 30, 12, 0, 0, 0, time.UTC),
		Products: []events.Product{{Product: "wall-matt", Name: "Wall paint, matt", Unit: events.Litre, PriceE4: 97_300,
			PackMilli: 10_000, Care: "wipe"}},
		Settings: &events.Settings{People: []events.FirmPerson{{Person: "una", Name: "Una B."}}}}
}

func readTableOf(t *testing.T, table Table, text string, opts Options) Plan {
	t.Helper()
	plan, err := ReadTable(strings.NewReader(text), table, opts)
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

// dataOf lists the data of every event, as it would be recorded.
func dataOf(p Plan) []string {
	var all []string
	for _, b := range p.Batches {
		for _, e := range b.Events {
			all = append(all, b.Job+" "+string(e.Data))
		}
	}
	return all
}

func same(t *testing.T, got, want []string) {
	t.Helper()
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestTableOfProducts(t *testing.T) {
	opts := tableOptions()
	plan := readTableOf(t, Products, "Our list\nName;Unit;Price;Key;Pack;Reusable;Recoat hours\n"+
		"Wall paint, matt;litres;9.73;wall-matt;;;\n"+ // as it is listed: nothing to record
		"Masking tape 30 mm;Rolls;3.37;;;;\nBoard;sheet;4.12;board;;yes;\nWall paint, matt;l;10.15;wall-matt;;;4:30\n", opts)
	want := []string{
		`firm {"product":"masking-tape-30-mm","name":"Masking tape 30 mm","unit":"roll","price_e4":33700}`,
		`firm {"product":"board","name":"Board","unit":"sheet","price_e4":41200,"reusable":true}`,
		`firm {"product":"wall-matt","name":"Wall paint, matt","unit":"l","price_e4":101500,"pack_milli":10000,"recoat_minutes":270,"care":"wipe"}`,
	}
	same(t, dataOf(plan), want)
	if plan.Summary.Rows != 4 || plan.Summary.Repeats != 1 || plan.Summary.Events != 3 {
		t.Errorf("summary %+v", plan.Summary)
	}
	// The price that was, listed again after another one, is something new.
	opts.Products[0].PriceE4 = 101_500
	back := readTableOf(t, Products, "name,unit,price,product\n\"Wall paint, matt\",l,9.73,wall-matt\n", opts)
	opts.Products[0].PriceE4 = 99_000
	again := readTableOf(t, Products, "name,unit,price,product\n\"Wall paint, matt\",l,9.73,wall-matt\n", opts)
	if back.Batches[0].Events[0].ID == again.Batches[0].Events[0].ID {
		t.Error("two changes to the same price have one id")
	}
}

func TestTableOfPurchases(t *testing.T) {
	text := "date,product,qty,cost,supplier,place\n4.3.2026,Wall paint matt,40,371.33,invented merchant,Van 2\n" +
		"2026-03-05,wall-matt,0.5,4.87,,\n2026-03-05,wall-matt,0.5,4.87,,\n"
	plan := readTableOf(t, Purchases, text, tableOptions())
	want := []string{
		`firm {"product":"wall-matt","quantity_milli":40000,"unit":"l","cost_e4":3713300,"supplier":"invented merchant","place":"van-2","day":"2026-03-04"}`,
		`firm {"product":"wall-matt","quantity_milli":500,"unit":"l","cost_e4":48700,"day":"2026-03-05"}`}
	same(t, dataOf(plan), want)
	if len(plan.Notices) != 1 || plan.Notices[0].Line != 4 {
		t.Errorf("notices %v", plan.Notices)
	}
	opts := tableOptions()
	opts.KeepRepeats = true
	kept, again := readTableOf(t, Purchases, text, opts), readTableOf(t, Purchases, text+"2026-03-06,wall-matt,1,9,,\n", opts)
	ids := map[string]bool{}
	for _, e := range kept.Batches[0].Events {
		ids[e.ID] = true
	}
	if len(ids) != 3 {
		t.Errorf("%d ids for three purchases", len(ids))
	}
	for i, e := range again.Batches[0].Events {
		if ids[e.ID] != (i < 3) {
			t.Errorf("row %d of the longer file has another id than it had", i)
		}
	}
}

func TestTableOfHours(t *testing.T) {
	plan := readTableOf(t, Bookings, "Day\tJob\tWho\tTask\tHours\tRoom\n2026-03-04\tJ 104\tUna B.\trub down\t7:30\tHall\n"+
		"2026-03-04\thall\tTarn\tcoat\t1,5\t\n", tableOptions())
	want := []string{`j-104 {"person":"una","task":"sand","location":"Hall","minutes":450,"day":"2026-03-04"}`,
		`hall {"person":"tarn","task":"coat","minutes":90,"day":"2026-03-04"}`}
	same(t, dataOf(plan), want)
	if plan.Summary.Jobs != 2 || len(plan.Summary.NewPeople) != 1 || plan.Summary.NewPeople[0] != "tarn" {
		t.Errorf("summary %+v", plan.Summary)
	}
}

// TestEveryErrorOfATable: each row says what is wrong with it, and nothing is to be
// recorded unless that is asked for.
func TestEveryErrorOfATable(t *testing.T) {
	text := "date,job,person,task,hours\n" +
		"2026-03-04,hall,una,coat,7:30\n" +
		"soon,hall,una,coat,1\n" +
		"2026-03-04,nowhere,una,coat,1\n" +
		"2026-03-04,hall,una,juggle,1\n" +
		"2026-03-04,hall,una,coat,1.33\n" +
		"2026-03-04,hall,,coat,1\n" +
		"2026-03-04,hall,una,coat,25\n"
	want := []string{"line 3: date is \"soon\": a date such as", "line 4: job is \"nowhere\": a job that is in the ledger",
		"line 5: task is \"juggle\": a standard task", "line 6: hours is \"1.33\": whole minutes",
		"line 7: person: it must be given", "line 8: hours is \"25\": at most 24 hours of one person"}
	plan := readTableOf(t, Bookings, text, tableOptions())
	if len(plan.Errors) != len(want) || len(plan.Batches) != 0 || plan.Summary.Bad != 6 || plan.Summary.Events != 1 {
		t.Fatalf("errors %v, summary %+v", plan.Errors, plan.Summary)
	}
	for i, e := range plan.Errors {
		if !strings.HasPrefix(e.Error(), want[i]) {
			t.Errorf("%q, not %q", e.Error(), want[i])
		}
	}
	opts := tableOptions()
	opts.SkipBad = true
	if plan := readTableOf(t, Bookings, text, opts); len(plan.Batches) != 1 || len(plan.Batches[0].Events) != 1 {
		t.Errorf("the good row was not kept: %+v", plan.Batches)
	}
	for text, want := range map[string]string{"": "it is empty", "date,job\n1,2\n": "missing: person, task, hours",
		"\"broken": "missing: "} {
		if _, err := ReadTable(strings.NewReader(text), Bookings, tableOptions()); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", text, err)
		}
	}
	if _, err := ReadTable(strings.NewReader("x"), "cats", tableOptions()); events.CodeOf(err) != events.Invalid {
		t.Errorf("an unknown table: %v", err)
	}
}

// TestTablesTeachThemselves: a file of the names and examples of the columns is read.
func TestTablesTeachThemselves(t *testing.T) {
	opts := listOptions()
	opts.Settings.People, opts.Settings.JobTypes[0].Name = nil, "Other stairs"
	opts.Settings.Grades[0].CostPerHourE4, opts.Jobs["j-104"] = 1, events.Opening{}
	opts.Products = append(opts.Products, events.Product{Product: "tape-30", Name: "Tape", Unit: events.Litre})
	for _, table := range Tables() {
		var names, examples []string
		for _, c := range table.Columns() {
			names, examples = append(names, c.Name), append(examples, c.Example)
		}
		plan := readTableOf(t, table, strings.Join(names, ";")+"\n"+strings.Join(examples, ";")+"\n", opts)
		if len(plan.Errors) > 0 || plan.Summary.Events != 1 {
			t.Errorf("%s: %v, %+v", table, plan.Errors, plan.Summary)
		}
	}
}
