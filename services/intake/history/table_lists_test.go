package history

import (
	"strings"
	"testing"

	"daysheet/events"
)

// listOptions are those of a firm that has a little of everything.
func listOptions() Options {
	opts := tableOptions()
	opts.Settings = &events.Settings{Name: "North", Currency: "EUR", TimeZone: "UTC",
		JobTypes: []events.JobType{{JobType: "stairwell", Name: "Stairwell and joinery"}},
		Grades:   []events.Grade{{Grade: "painter", CostPerHourE4: 384_500}},
		People:   []events.FirmPerson{{Person: "una", Name: "Una", Grade: "painter"}},
		Tasks:    []events.FirmTask{{Task: "strip", Family: events.FamilyPreparation, Unit: events.SquareMetre, Name: "Strip"}}}
	opts.Book = &events.RateBook{Revision: "first", EffectiveFrom: "2026-01-01", Rates: []events.Rate{
		{Task: "sand", Unit: events.SquareMetre, MinutesMilli: 4_500, Source: "own-history", Jobs: 7}}}
	opts.Revisions = []string{"first", "table-2026-06-30"}
	opts.Customers = map[string]string{"c-1": "Iris", "c-2": "Two of them", "c-3": "Two of them"}
	opts.Jobs = map[string]events.Opening{
		"hall": {JobType: "stairwell", Title: "Hall", Built: 1936, Due: "2026-07-30"}}
	return opts
}

// TestListsOfTheSettings: rows add to a list and change it, in one event; what the file does
// not name stays, and what it says already makes no event.
func TestListsOfTheSettings(t *testing.T) {
	for _, c := range []struct {
		table         Table
		as, text, has string
	}{
		{People, "name,grade,person\nUna,painter,una\n", "Name;Lohngruppe\nUna;Painter\nTarn B.;painter\n",
			`"people":[{"person":"una","name":"Una","grade":"painter"},{"person":"tarn-b","name":"Tarn B.","grade":"painter"}]`},
		{Grades, "grade,cost of an hour\npainter,38.45\n", "grade,cost per hour\nPainter,40\napprentice,19.5\n",
			`"grades":[{"grade":"painter","cost_per_hour_e4":400000},{"grade":"apprentice","cost_per_hour_e4":195000}]`},
		{JobTypes, "name,job type\nStairwell and joinery,stairwell\n", "name\nExterior\n",
			`"job_types":[{"job_type":"stairwell","name":"Stairwell and joinery"},{"job_type":"exterior","name":"Exterior"}]`},
		{Tasks, "name,family,unit,task\nStrip,preparation,m2,strip\n", "name,family,unit,task\nStrip paper,Preparation,sqm,strip\n",
			`"tasks":[{"task":"strip","family":"preparation","unit":"m2","name":"Strip paper"}]`},
	} {
		if plan := readTableOf(t, c.table, c.as, listOptions()); plan.Summary.Events != 0 || len(plan.Errors) != 0 {
			t.Errorf("%s: what is so already comes to %+v, %v", c.table, plan.Summary, plan.Errors)
		}
		plan := readTableOf(t, c.table, c.text, listOptions())
		said := dataOf(plan)
		if len(said) != 1 || !strings.Contains(said[0], c.has) || !strings.Contains(said[0], `"name":"North"`) {
			t.Errorf("%s: %v, %v", c.table, plan.Errors, said)
			continue
		}
		later := listOptions()
		later.Position = 9
		again := readTableOf(t, c.table, c.text, later)
		if plan.Batches[0].Events[0].ID == again.Batches[0].Events[0].ID {
			t.Errorf("%s: the same change made later has the id of the first, and would be lost", c.table)
		}
	}
}

func TestTableOfJobs(t *testing.T) {
	text := "title,job type,job,customer,built,start,due\nHall,Stairwell and joinery,,,1936,,\n" +
		"Two flats,stairwell,J 7,Iris,,2026-07-01,2.7.2026\nHall,stairwell,hall,,,,2026-08-01\n"
	plan := readTableOf(t, Jobs, strings.Replace(text, "Hall,stairwell,hall", "The hall,stairwell,hall-2", 1), listOptions())
	same(t, dataOf(plan), []string{
		`j-7 {"job_type":"stairwell","title":"Two flats","customer":"c-1","start":"2026-07-01","due":"2026-07-02"}`,
		`hall-2 {"job_type":"stairwell","title":"The hall","due":"2026-08-01"}`})
	if plan.Summary.Repeats != 1 || plan.Summary.Jobs != 2 {
		t.Errorf("%v, %+v", plan.Errors, plan.Summary)
	}
	opts := listOptions() // what a job has holds, though nobody could choose it now
	opts.Jobs["old"] = events.Opening{JobType: "castle", Title: "Old", Customer: "c-9"}
	if plan := readTableOf(t, Jobs, "title,job type,job,customer\nOld,castle,old,c-9\n", opts); plan.Summary.Repeats != 1 ||
		len(plan.Errors) != 0 {
		t.Errorf("a job as it is comes to %v, %+v", plan.Errors, plan.Summary)
	}
	moved := readTableOf(t, Jobs, "title,job type,job,due\nHall,stairwell,hall,2026-08-01\n", listOptions())
	same(t, dataOf(moved), []string{`hall {"job_type":"stairwell","title":"Hall","built":1936,"due":"2026-08-01"}`})
}

func TestTableOfRates(t *testing.T) {
	if plan := readTableOf(t, Rates, "task,minutes,unit,source,jobs\nsand,4.5,m2,own-history,7\n", listOptions()); plan.Summary.Events != 0 {
		t.Errorf("the book as it stands comes to %v", dataOf(plan))
	}
	opts := listOptions()
	opts.Book.Rates = append(opts.Book.Rates, events.Rate{Task: "gilding", Unit: events.Metre, MinutesMilli: 60_000,
		Source: "from-memory"}) // a task that the settings have no more
	if plan := readTableOf(t, Rates, "task,minutes,unit\ngilding,60,m\n", opts); plan.Summary.Events != 0 || len(plan.Errors) != 0 {
		t.Errorf("a rate as it is comes to %v, %v", plan.Errors, dataOf(plan))
	}
	plan := readTableOf(t, Rates, "task,surface,method,minutes,product,quantity\nCoat surface,wall,roller,9.5,Wall paint matt,0.11\n"+
		"coat,wall,roller,,wall-matt,0.02\n", listOptions())
	same(t, dataOf(plan), []string{`firm {"revision":"table-2026-06-30-2","effective_from":"2026-06-30","rates":[` +
		`{"task":"sand","unit":"m2","minutes_milli":4500,"source":"own-history","jobs":7},` +
		`{"task":"coat","surface":"wall","method":"roller","unit":"m2","minutes_milli":9500,"source":"from-memory",` +
		`"consumables":[{"product":"wall-matt","unit":"l","quantity_milli":110},{"product":"wall-matt","unit":"l","quantity_milli":20}]}]}`})
}

func TestTableOfCounts(t *testing.T) {
	plan := readTableOf(t, Counts, "date,product,found,place\n2026-06-30,wall-matt,0,Van 2\n", listOptions())
	same(t, dataOf(plan), []string{`firm {"product":"wall-matt","quantity_milli":0,"unit":"l","place":"van-2","day":"2026-06-30"}`})
}

// TestRowsOfListsThatCannotBeTaken: each says what is wrong with it, and nothing is changed.
func TestRowsOfListsThatCannotBeTaken(t *testing.T) {
	for _, c := range []struct {
		table      Table
		text, want string
	}{
		{People, "name,grade\nTarn,foreman\n", `line 2: grade is "foreman": one of the grades in the firm's settings`},
		{People, "name,grade\nTarn,painter\nTARN,painter\n", `line 3: name is "TARN": it stands twice in the list`},
		{People, "name,grade\n-,painter\n", `line 2: name is "-": at least one letter a to z or digit`},
		{People, "name,grade\n" + strings.Repeat("x", 130) + ",painter,\n", `line 2: name is `},
		{People, "name,grade,person\n" + strings.Repeat("x", 121) + ",painter,tarn\n", `line 2: name is `},
		{Grades, "grade,cost of an hour\npainter,a lot\n", `line 2: cost of an hour is "a lot": a number`},
		{Tasks, "name,family,unit\nSand,preparation,m2\n", `line 2: name is "Sand": it is a standard task already`},
		{Tasks, "name,family,unit\nStrip,painting,m2\n", `line 2: family is "painting": use one of set-up, `},
		{Jobs, "title,job type\nFlat,castle\n", `line 2: job type is "castle": a job type of the settings`},
		{Jobs, "title,job type\nFlat,stairwell\nFlat,stairwell\n", `line 3: title is "Flat": it stands twice in the list`},
		{Jobs, "title,job type\nHALL,stairwell\n", `line 2: title is "HALL": another job has the key`},
		{Jobs, "title,job type\nFirm,stairwell\n", `line 2: job: this name is kept for the firm's own events`},
		{Jobs, "title,job type,customer\nFlat,stairwell,Nobody\n", `line 2: customer is "Nobody": the key or name of a customer`},
		{Jobs, "title,job type,customer\nFlat,stairwell,two of them\n", `line 2: customer is "two of them": several customers`},
		{Jobs, "title,job type,built\nFlat,stairwell,12\n", `line 2: built is "12": a whole number from 1000`},
		{Rates, "task,minutes\ncoat,\n", `line 2: minutes: it must be given`},
		{Rates, "task,minutes\ncoat,1\ncoat,2\n", `line 3: task is "coat": the same task, surface and method`},
		{Rates, "task,minutes,source\ncoat,1,heard\n", `line 2: source is "heard": use one of published`},
		{Rates, "task,minutes,product,quantity\ncoat,1,wall-matt,\n", `line 2: quantity: it must be given`},
	} {
		plan := readTableOf(t, c.table, c.text, listOptions())
		if len(plan.Errors) != 1 || !strings.HasPrefix(plan.Errors[0].Error(), c.want) || len(plan.Batches) != 0 {
			t.Errorf("%s %q: %v, not %s", c.table, c.text, plan.Errors, c.want)
		}
	}
	opts := listOptions()
	opts.SkipBad = true
	plan := readTableOf(t, People, "name,grade\nTarn,painter\nBo,foreman\n", opts)
	if len(plan.Errors) != 1 || len(plan.Batches) != 1 {
		t.Errorf("the good row was not kept: %v, %+v", plan.Errors, plan.Batches)
	}
	opts.Settings = nil
	if _, err := ReadTable(strings.NewReader("name\nx\n"), JobTypes, opts); events.CodeOf(err) != events.Invalid {
		t.Errorf("a list of no settings: %v", err)
	}
}
