package history

import (
	"os"
	"slices"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/services/typed"
)

// readPastJobs reads the invented sheet in testdata.
func readPastJobs(t *testing.T, opts Options) Plan {
	t.Helper()
	f, err := os.Open("testdata/past-jobs.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	opts.Firm = "quillmarsh"
	plan, err := Read(f, opts)
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

// amount is what events of a task come to.
type amount struct{ minutes, milli int64 }

// figures is what a plan comes to, by the keys that the tests ask for.
type figures struct {
	planned, done map[[2]string]amount // by job or job type, and task; empty for all
	billed        map[string]int64     // by job or job type
	offered       map[string]int64
	material      map[string]int64
	used          map[[2]string]int64 // by job and product, in thousandths
}

// addUp sums the events of a plan, without the code under test.
func addUp(t *testing.T, plan Plan) figures {
	t.Helper()
	f := figures{map[[2]string]amount{}, map[[2]string]amount{}, map[string]int64{}, map[string]int64{},
		map[string]int64{}, map[[2]string]int64{}}
	types := map[string]string{}
	for _, b := range plan.Batches {
		for i := range b.Events {
			payload, err := b.Events[i].Payload()
			if err != nil {
				t.Fatal(err)
			}
			if o, ok := payload.(*events.Opening); ok {
				types[b.Job] = o.JobType
			}
			f.take(b.Job, types[b.Job], payload)
		}
	}
	return f
}

func (f figures) take(job, jobType string, payload events.Payload) {
	add := func(into map[[2]string]amount, task string, minutes, milli int64) {
		for _, key := range [][2]string{{job, task}, {jobType, task}, {"", task}, {job, ""}, {jobType, ""}} {
			a := into[key]
			into[key] = amount{a.minutes + minutes, a.milli + milli}
		}
	}
	money := func(into map[string]int64, e4 int64) {
		into[job] += e4
		into[jobType] += e4
	}
	switch p := payload.(type) {
	case *events.Estimate:
		for _, l := range p.Lines {
			add(f.planned, l.Task, l.Minutes, l.QuantityMilli)
		}
		money(f.offered, p.PriceE4)
	case *events.Hours:
		add(f.done, p.Task, p.Minutes, 0)
	case *events.Protection:
		add(f.done, p.Task, 0, p.QuantityMilli)
	case *events.Preparation:
		add(f.done, p.Task, 0, p.QuantityMilli)
	case *events.Coat:
		add(f.done, p.Task, 0, p.QuantityMilli)
	case *events.Usage:
		money(f.material, p.CostE4)
		f.used[[2]string{job, p.Product}] += p.QuantityMilli
	case *events.Closing:
		money(f.billed, p.BilledE4)
	}
}

// TestPastJobsByHand compares the events of the sheet with figures worked out by
// hand from its rows. All of it is invented; the arithmetic has no other source.
func TestPastJobsByHand(t *testing.T) {
	plan := readPastJobs(t, Options{SkipBad: true})
	f := addUp(t, plan)

	for _, c := range []struct {
		of, task      string
		planned, done amount
	}{
		// P-103, flat in use: floor paper 75 min planned, 100 done; 40 m2 and 39 m2.
		{"p-103", "protect-floor", amount{75, 40_000}, amount{100, 39_000}},
		{"p-103", "fill", amount{30, 12_000}, amount{45, 14_000}},
		{"p-103", "coat", amount{630, 110_000}, amount{830, 110_000}}, // 415 + 415; the row in kg is left out

		// P-104, house outside. Of 30 m2 lifted only the 75 min count.
		{"p-104", "protect-glass", amount{75, 13_200}, amount{85, 12_200}},
		{"p-104", "wash", amount{495, 165_000}, amount{500, 165_000}},
		{"p-104", "coat", amount{945, 165_000}, amount{910, 165_000}}, // 455 + 455
		{"p-104", "lift-protection", amount{}, amount{75, 0}},

		// P-111, kitchen units.
		{"p-111", "protect-floor", amount{30, 11_200}, amount{30, 10_200}},
		{"p-111", "prime", amount{60, 15_400}, amount{70, 17_400}},
		{"p-111", "coat-door", amount{360, 8_000}, amount{395, 9_000}},

		// P-117, stairwell: the handrail stands twice in the sheet and counts once.
		{"p-117", "protect-handrail", amount{45, 12_600}, amount{65, 14_600}},
		{"p-117", "sand", amount{60, 18_200}, amount{85, 18_200}},
		{"p-117", "coat-trim", amount{330, 44_800}, amount{435, 44_800}},

		// P-125, new dwelling.
		{"p-125", "protect-floor", amount{210, 117_000}, amount{230, 117_000}},
		{"p-125", "mask-edge", amount{90, 78_000}, amount{105, 80_000}},
		{"p-125", "coat", amount{660, 312_000}, amount{745, 312_000}}, // 370 + 375

		// Tasks over all jobs.
		// planned 120+60+135+60+60+90 min, 33.8+18.2+36.4+18.2+18.2+23.4 m2
		// done    160+105+180+85+85+130 min, 33.8+20.2+37.4+18.2+19.2+25.4 m2
		{"", "sand", amount{525, 148_200}, amount{745, 154_200}},
		// planned 540+540+360+720+720+675 min, 12+12+8+16+16+15 doors
		// done    605+595+395+960+975+845 min, 12+13+9+18+18+15 doors
		{"", "coat-door", amount{3555, 79_000}, amount{4375, 85_000}},
		// planned 105+45+75+75+90 min, 84+42+60+60+78 m
		// done    110+50+85+85+105 min, 84+41+59+61+80 m
		{"", "mask-edge", amount{390, 324_000}, amount{435, 325_000}},
		// planned 30+75+60+225+30+30+105+120+165+45+60+45+105+165+210+30+75 min,
		//         16+40+32+126+16+11.2+56+63+90+22.4+36+22.4+56+90+117+20.8+44 m2
		// done    30+100+70+270+30+30+140+115+195+55+85+55+130+170+230+45+95 min,
		//         16+39+32+126+18+10.2+55+63+90+24.4+36+24.4+58+90+117+20.8+44 m2
		{"", "protect-floor", amount{1575, 858_800}, amount{1845, 863_800}},
		// planned 630+945+495+1110+705+885+1020+360+690+510+570+885+1020+510+660+690 min,
		//         110+165+88+195+336+154+180+168+120+240+99+154+180+240+312+121 m2
		// done    830+910+590+1150+690+1320+1085+425+860+550+800+1000+1195+595+745+905 min,
		//         110+165+88+197+336+155+179+168+122+240+99+153+179+242+312+121 m2
		{"", "coat", amount{11_685, 2_862_000}, amount{13_650, 2_866_000}},
	} {
		key := [2]string{c.of, c.task}
		if f.planned[key] != c.planned || f.done[key] != c.done {
			t.Errorf("%q %s: planned %v, done %v; want %v, %v", c.of, c.task, f.planned[key], f.done[key], c.planned, c.done)
		}
	}
}

// TestPastJobsByType does the same for each job type: minutes, and money in
// hundredths.
func TestPastJobsByType(t *testing.T) {
	f := addUp(t, readPastJobs(t, Options{SkipBad: true}))
	for _, c := range []struct {
		jobType                   string
		planned, done             int64
		offered, billed, material int64
	}{
		// 1515+1785+1650+1110+1650 and 1570+1980+1780+1290+1895 min; offered 1910+2145+2030+1560+2030,
		// billed 1910+2095+2030+1710+2030; material 294.32+8.44+569+25.68+382.47+26.94+442.70+22.75+355.80+9.52;
		// the edge tape at 1.250 is left out
		{"exterior", 7710, 8515, 9675_00, 9775_00, 2137_62},
		// 660+660+450+885+885+825 and 730+735+495+1135+1155+1035 min; offered 1170+1170+990+1365+1365+1315,
		// billed 1170+1320+990+1515+1365+1315; material 1052.58+57.12+702.45+28.77+664.29+115.32+752.58+145.20
		// +632.40+29.10+556.47+175.86
		{"fitted-units", 4365, 5285, 7375_00, 7675_00, 4912_14},
		// 1035+525+750+750+960 and 1070+590+830+850+1080 min; offered 1495+1055+1250+1250+1430,
		// billed 1495+1055+1200+1400+1430; material 185.08+21.21+361.46+21.42+144.48+85.92+255.24+130.14+207.35+87
		{"new-dwelling-sprayed", 4020, 4420, 6480_00, 6580_00, 1499_30},
		// 735+585+1035+660+1035+795 and 975+690+1515+925+1190+1040 min; offered 1235+1105+1495+1170+1495+1285,
		// billed 1235+1055+1495+1170+1495+1285; material 426.06+28.59+421.35+57.30+204+86.58+343.17+58.14+177.03
		// +87.39+103.68+88.02
		{"occupied-redecoration", 4845, 6335, 7785_00, 7735_00, 2081_31},
		// 795+435+855+435+435+555 and 1065+610+1195+585+655+860 min; offered 1285+975+1340+975+975+1080,
		// billed 1285+925+1340+975+925+1080; material 865.94+4.13+423.92+26.04+258.40+8.80+678.04+27.66+671.66
		// +24.10+219.52+9.76; the floor paper in m2 is left out
		{"stairwell-and-joinery", 3510, 4970, 6630_00, 6530_00, 3217_97},
	} {
		all := [2]string{c.jobType, ""}
		if p, d := f.planned[all].minutes, f.done[all].minutes; p != c.planned || d != c.done {
			t.Errorf("%s: planned %d min, done %d min; want %d, %d", c.jobType, p, d, c.planned, c.done)
		}
		o, b, m := f.offered[c.jobType], f.billed[c.jobType], f.material[c.jobType]
		if o != c.offered*100 || b != c.billed*100 || m != c.material*100 {
			t.Errorf("%s: offered %d, billed %d, material %d; want %d, %d, %d in ten-thousandths",
				c.jobType, o, b, m, c.offered*100, c.billed*100, c.material*100)
		}
	}
	// P-117: 44 l at 15.41 are 678.04, and 6 rolls were 27.66 (from the rows of the sheet).
	if m := f.material["p-117"]; m != (678_04+27_66)*100 {
		t.Errorf("p-117: material %d", m)
	}
	if l := f.used[[2]string{"p-117", "trim-paint"}]; l != 44_000 {
		t.Errorf("p-117: %d thousandths of a litre", l)
	}
}

// TestPastJobsErrors checks every bad row of the sheet.
func TestPastJobsErrors(t *testing.T) {
	plan := readPastJobs(t, Options{})
	want := RowErrors{
		{39, "Unit", "kg", "the task coat is counted in m2"},
		{91, "Unit", "bucket", "use one of m2, m, each, hour, l, kg, roll, sheet, pack"},
		{127, "Date", "31.2.2024", "a day that there is"},
		{152, "Task", "polish brass", "a standard task or one of the firm's settings, for example protect floor"},
		{190, "Cost", "1.250", "it can be read as a thousand or as a decimal: say which decimal mark the file has"},
		{227, "Hours", "two", "hours such as 1:30, 1.5, 1,5 h or 90 min"},
		{266, "Kind", "misc", kindRule},
		{304, "Hours", "26", "at most 24 hours of one person on a day; leave the person blank for the crew"},
		{329, "Unit", "m2", "the product floor-paper is counted in roll on line 26"},
	}
	if !slices.Equal(plan.Errors, want) {
		t.Errorf("errors:\n%v\nwant:\n%v", plan.Errors, want)
	}
	if len(plan.Batches) != 0 {
		t.Errorf("%d batches of a sheet with errors", len(plan.Batches))
	}
	notices := []Notice{
		{21, "left out: it says exactly what line 20 says; keep it if both happened"},
		{52, "its quantity is not recorded: what is lifted is what was laid, on the day the job was billed"},
		{210, "left out: it says exactly what line 209 says; keep it if both happened"},
	}
	if !slices.Equal(plan.Notices, notices) {
		t.Errorf("notices: %v", plan.Notices)
	}
	s := plan.Summary
	if s.Rows != 324 || s.Blank != 27 || s.Bad != 9 || s.Repeats != 2 || s.Jobs != 28 {
		t.Errorf("summary: %+v", s)
	}
	if !slices.Equal(s.UnknownColumns, []string{"Filed in"}) || len(s.NewJobTypes) != 5 || len(s.NewPeople) != 4 {
		t.Errorf("summary: %+v", s)
	}
	// With the mark known, the ambiguous cost is 1250 or 1.25, and no error.
	for mark, costE4 := range map[typed.Decimal]int64{typed.DecimalComma: 1250_0000, typed.DecimalPoint: 1_2500} {
		plan := readPastJobs(t, Options{SkipBad: true, Decimal: mark})
		if len(plan.Errors) != len(want)-1 {
			t.Errorf("decimal %s: %d errors", mark, len(plan.Errors))
		}
		if got := addUp(t, plan).material["exterior"]; got != 2137_62*100+costE4 {
			t.Errorf("decimal %s: material %d", mark, got)
		}
	}
}

// TestKeepRepeats: both rows count, with ids of their own.
func TestKeepRepeats(t *testing.T) {
	left := readPastJobs(t, Options{SkipBad: true})
	kept := readPastJobs(t, Options{SkipBad: true, KeepRepeats: true})
	f := addUp(t, kept)
	if got := f.done[[2]string{"p-117", "protect-handrail"}]; got != (amount{130, 29_200}) { // 65+65, 14.6+14.6
		t.Errorf("handrail %v", got)
	}
	ids := idsOf(t, kept)
	for id := range idsOf(t, left) {
		if !ids[id] {
			t.Fatalf("event %s is gone where repeats are kept", id)
		}
	}
	// Each repeat adds hours, a laying and its lifting.
	if added := len(ids) - len(idsOf(t, left)); added != 6 {
		t.Errorf("%d events more; want 6", added)
	}
}

// idsOf returns the ids of a plan's events, and fails if one stands twice.
func idsOf(t *testing.T, plan Plan) map[string]bool {
	t.Helper()
	ids := map[string]bool{}
	for _, b := range plan.Batches {
		for _, e := range b.Events {
			if ids[e.ID] {
				t.Fatalf("id %s stands twice", e.ID)
			}
			ids[e.ID] = true
		}
	}
	return ids
}

// record plays the plan into jobs as the ledger would, and returns how many
// events were new.
func record(t *testing.T, jobs map[string]*events.Job, plan Plan) (fresh int) {
	t.Helper()
	for _, b := range plan.Batches {
		j := jobs[b.Job]
		if j == nil {
			j = events.NewJob("quillmarsh", b.Job)
			jobs[b.Job] = j
		}
		if len(b.Events) > batchMax {
			t.Fatalf("%s: a batch of %d", b.Job, len(b.Events))
		}
		for i := range b.Events {
			if err := b.Events[i].Validate(); err != nil {
				t.Fatal(err)
			}
		}
		added, _, err := j.Plan(b.Events)
		if err != nil {
			t.Fatalf("%s: %v", b.Job, err)
		}
		fresh += len(added)
		if len(added) == 0 {
			continue
		}
		c := &events.Commit{Firm: "quillmarsh", Job: b.Job, Version: j.Version + 1, Previous: j.Head,
			RecordedAt: time.Date(2026, 1, 5, 9, 0, 0, 0, time.UTC), RecordedBy: "test", Events: added}
		raw, err := c.Encode()
		if err != nil {
			t.Fatal(err)
		}
		if err := j.Apply(c, 1, raw); err != nil {
			t.Fatal(err)
		}
	}
	return fresh
}

// TestPastJobsRecord: the ledger takes the plan, and nothing of it twice.
func TestPastJobsRecord(t *testing.T) {
	settings := &events.Settings{Name: "Quillmarsh (invented)", Currency: "EUR", TimeZone: "UTC",
		JobTypes: []events.JobType{{JobType: "exterior", Name: "Exterior"}},
		Grades:   []events.Grade{{Grade: "painter", CostPerHourE4: 30_0000}}}
	opts := Options{SkipBad: true, ListNew: true, Settings: settings,
		Products: []events.Product{{Product: "edge-tape", Name: "Edge tape", Unit: events.Roll, PriceE4: 4_0000}}}
	plan := readPastJobs(t, opts)
	jobs := map[string]*events.Job{}
	if fresh := record(t, jobs, plan); fresh != plan.Summary.Events || fresh != len(idsOf(t, plan)) {
		t.Errorf("%d new events of %d", fresh, plan.Summary.Events)
	}
	if fresh := record(t, jobs, readPastJobs(t, opts)); fresh != 0 {
		t.Errorf("%d events were new the second time", fresh)
	}
	for key, j := range jobs {
		if down, _ := j.Down(); key != events.FirmJob && (j.State() != events.Closed || len(down) > 0) {
			t.Errorf("%s is %s with %d pieces of protection down", key, j.State(), len(down))
		}
	}
	own := plan.Batches[0]
	if own.Job != events.FirmJob {
		t.Fatalf("first batch is of %s", own.Job)
	}
	listed := map[string]int64{}
	for i := range own.Events {
		payload, err := own.Events[i].Payload()
		if err != nil {
			t.Fatal(err)
		}
		switch p := payload.(type) {
		case *events.Settings:
			if len(p.JobTypes) != 5 || len(settings.JobTypes) != 1 {
				t.Errorf("job types: %v", p.JobTypes)
			}
		case *events.Product:
			listed[p.Product] = p.PriceE4
		}
	}
	// The sheet names eight products, and edge tape was listed before. The last
	// lacquer (line 340) was bought at 20.61, the last trim paint at 15.68.
	_, again := listed["edge-tape"]
	if again || len(listed) != 7 || listed["unit-lacquer"] != 20_6100 || listed["trim-paint"] != 15_6800 {
		t.Errorf("listed: %v", listed)
	}
}
