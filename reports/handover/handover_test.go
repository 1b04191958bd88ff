package handover

import (
	"reflect"
	"strings"
	"testing"

	"daysheet/events"
)

// mustHappen records lines of a scenario.
func mustHappen(t *testing.T, h *history, lines ...string) {
	t.Helper()
	for _, line := range lines {
		if err := h.happen(line); err != nil {
			t.Fatalf("%s: %v", line, err)
		}
	}
}

const opened = `2026-02-20 09:00 job.opened job_type=redecoration title="Stairwell" customer=c-0008 built=1960`

// TestLaterRecordsOfTheFirmChangeNothing: a paper is a function of the job's last commit.
func TestLaterRecordsOfTheFirmChangeNothing(t *testing.T) {
	h := newHistory()
	settings := `firm.settings-changed currency=EUR time_zone=UTC job_types=[{"job_type":"redecoration","name":"Redecoration"}] ` +
		`grades=[{"grade":"painter","cost_per_hour_e4":300000}] name="Gable & Son (invented)" warranty=`
	mustHappen(t, h, "2026-01-05 08:00 "+settings+"before", opened)
	read := func() Paper {
		t.Helper()
		d, err := Read(Input{Firm: "invented", Job: "job", Commits: h.job.stored, Own: h.firm.stored})
		if err != nil {
			t.Fatal(err)
		}
		return d.Speaking(english(t), d.Names()).Handover()
	}
	first := read()
	mustHappen(t, h, "2026-03-05 08:00 "+settings+"after")
	if again := read(); !reflect.DeepEqual(first, again) {
		t.Errorf("settings recorded later change the paper from\n%+v\nto\n%+v", first, again)
	}
	mustHappen(t, h, `2026-03-06 08:00 condition.recorded location=Hall finding=Sound`)
	last := read().Sections
	if w := last[len(last)-2]; w.Name != "warranty" || w.Says[0] != "after" {
		t.Errorf("after a commit of the job the settings in force are not used: %+v", w)
	}
}

// TestBrokenChainsMakeNoPaper: nothing in a chain that does not hold can be trusted.
func TestBrokenChainsMakeNoPaper(t *testing.T) {
	h := newHistory()
	mustHappen(t, h, opened, `2026-03-02 07:20 condition.recorded location=Hall finding=Sound`,
		`2026-03-02 07:30 condition.recorded location=Cellar finding=Sound`)
	in := Input{Firm: "invented", Job: "job", Commits: h.job.stored}
	if _, err := Read(in); err != nil {
		t.Fatal(err)
	}
	for name, broken := range map[string][]events.Stored{
		"a commit left out":  {h.job.stored[0], h.job.stored[2]},
		"commits turned":     {h.job.stored[0], h.job.stored[2], h.job.stored[1]},
		"a commit altered":   {h.job.stored[0], altered(h.job.stored[1]), h.job.stored[2]},
		"the start left out": h.job.stored[1:],
	} {
		in.Commits = broken
		if _, err := Read(in); err == nil || events.CodeOf(err) != events.Internal {
			t.Errorf("%s: error %v, want an internal one", name, err)
		}
	}
	in.Commits = nil
	if _, err := Read(in); events.CodeOf(err) != events.NotFound {
		t.Errorf("a job without commits: error %v, want not found", err)
	}
}

func altered(s events.Stored) events.Stored {
	s.Raw = []byte(strings.Replace(string(s.Raw), "Sound", "Bound", 1))
	return s
}

// TestPapersThatAreNotThere are refused by name.
func TestPapersThatAreNotThere(t *testing.T) {
	h := newHistory()
	mustHappen(t, h, opened)
	d, err := Read(Input{Firm: "invented", Job: "job", Commits: h.job.stored})
	if err != nil {
		t.Fatal(err)
	}
	d = d.Speaking(english(t), d.Names())
	_, noQuote := d.Quote()
	_, noVariation := d.Variation("event-9999")
	_, noDay := d.DaySheet("2026-03-02")
	for _, err := range []error{noQuote, noVariation, noDay} {
		if events.CodeOf(err) != events.NotFound {
			t.Errorf("error %v, want not found", err)
		}
	}
}

// TestCautionsByAge: the years are those of 40 CFR 745.83 (US EPA), of the end of
// sale to the public in the UK (HSE), and of the Control of Asbestos Regulations 2012 (HSE).
func TestCautionsByAge(t *testing.T) {
	for year, want := range map[string][2]bool{ // lead, asbestos
		"": {true, true}, "built=1960": {true, true}, "built=1977": {true, true}, "built=1991": {true, true},
		"built=1992": {false, true}, "built=1999": {false, true}, "built=2000": {false, false}, "built=2026": {false, false},
	} {
		h := newHistory()
		mustHappen(t, h, `2026-02-20 09:00 job.opened job_type=redecoration title=Stairwell `+year)
		d, err := Read(Input{Firm: "invented", Job: "job", Commits: h.job.stored})
		if err != nil {
			t.Fatal(err)
		}
		var said strings.Builder
		for _, table := range d.Speaking(english(t), d.Names()).cautions().Tables {
			for _, row := range table.Rows {
				said.WriteString(row[0].Text + row[2].Text)
				if !strings.HasSuffix(row[0].Text, english(t).Say("caution.defer")) || row[2].Text == "" {
					t.Errorf("%s: a caution does not defer, or names no body: %v", year, row)
				}
			}
		}
		lead, asbestos := strings.Contains(said.String(), "lead"), strings.Contains(said.String(), "asbestos")
		if lead != want[0] || asbestos != want[1] {
			t.Errorf("%q: lead %v, asbestos %v, want %v", year, lead, asbestos, want)
		}
		if epa := strings.Contains(said.String(),
			"EPA"); epa != (year == "" || year == "built=1960" || year == "built=1977") {
			t.Errorf("%q: the US rule for homes built before 1978 is named: %v", year, epa)
		}
	}
}

// TestPartiesStandInThePaper: known, unknown and erased.
func TestPartiesStandInThePaper(t *testing.T) {
	h := newHistory()
	mustHappen(t, h, opened)
	for name, c := range map[string]struct {
		parties *Parties
		want    string
		missing bool
	}{
		"unknown": {nil, "", true},
		"known":   {&Parties{Name: "Invented Customer", Address: "1 Invented Lane"}, "Invented Customer", false},
		"lost":    {&Parties{Lost: true}, "", true},
		"erased":  {&Parties{Name: "must not appear", Erased: "2026-09-01"}, "2026-09-01", false},
	} {
		d, err := Read(Input{Firm: "invented", Job: "job", Commits: h.job.stored})
		if err != nil {
			t.Fatal(err)
		}
		var values, missing []string
		s := d.With(c.parties).Speaking(english(t), d.Names()).site()
		for _, f := range s.Facts {
			values = append(values, f.Cell.Text)
		}
		missing = s.Missing
		all := strings.Join(values, "\n")
		if !strings.Contains(all, c.want) || strings.Contains(all, "must not") {
			t.Errorf("%s: %q", name, all)
		}
		if got := strings.Contains(strings.Join(missing, "\n"), "Name and address"); got != c.missing {
			t.Errorf("%s: missing %v", name, missing)
		}
	}
}
