package reports

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"daysheet/events"
	"daysheet/reports/coating"
)

// The sums that the report on coats asks for, in the order of the question.
const (
	coatAreas  = iota // quantities of coating by product and unit
	coatLitres        // coating used by product and unit
)

func askCoats(f Filter) Question {
	q := on(scope(f).With(ByFamily, string(events.FamilyCoating)), SideActual)
	return Question{
		Sums: []Query{
			grouped(only(q, KindQuantity), ByProduct, ByUnit), grouped(only(q, KindMaterial), ByProduct, ByUnit),
		},
		Jobs: scopeJobs(f), Log: true,
	}
}

// coatDone is one coat of a job with what was found about it.
type coatDone struct {
	id       string
	day      events.Day
	at       time.Time // zero where only the day is known
	coat     *events.Coat
	warnings []coating.Warning
	blanks   []coating.Blank
}

// coatsOf reads the coats that hold from the job's commits, oldest first, and
// checks each against its product and the coat before it in the same place.
func coatsOf(log []events.Stored, listed map[string]events.Product) ([]coatDone, error) {
	var all []coatDone
	for _, stored := range log {
		c, err := events.DecodeCommit(stored.Raw)
		if err != nil {
			return nil, fmt.Errorf("sequence %d: %w", stored.Sequence, err)
		}
		for i := range c.Events {
			e := &c.Events[i]
			payload, err := e.Payload()
			if err != nil {
				return nil, fmt.Errorf("sequence %d: event %s: %w", stored.Sequence, e.ID, err)
			}
			switch p := payload.(type) {
			case *events.Coat:
				d := coatDone{id: e.ID, day: cmp.Or(p.Day, e.Day()), coat: p}
				if d.day == e.Day() {
					d.at = e.OccurredAt()
				}
				all = append(all, d)
			case *events.Void:
				all = slices.DeleteFunc(all, func(d coatDone) bool { return d.id == p.Event })
			}
		}
	}
	slices.SortStableFunc(all, func(a, b coatDone) int { return cmp.Or(cmp.Compare(a.day, b.day), a.at.Compare(b.at)) })
	for i := range all {
		d := &all[i]
		under := coating.Earlier{}
		if j := coatUnder(all[:i], d.coat); j >= 0 {
			under = coating.Earlier{At: all[j].at, RecoatMinutes: listed[all[j].coat.Product].RecoatMinutes}
		}
		d.warnings, d.blanks = coating.Check(coating.Applied{Coat: *d.coat, At: d.at, Last: under},
			listed[d.coat.Product], coating.General())
	}
	return all, nil
}

// coatUnder returns the last coat that the given one lies on: in the same place and
// with a smaller number, since one coat can be recorded in parts. -1 is none.
func coatUnder(before []coatDone, c *events.Coat) int {
	for i := len(before) - 1; i >= 0; i-- {
		if b := before[i].coat; b.Coat < c.Coat && coatPlace(b) == coatPlace(c) {
			return i
		}
	}
	return -1
}

// coatPlace names where a coat lies, so that the next one on it is found.
func coatPlace(c *events.Coat) string { return c.Task + "\x00" + c.Surface + "\x00" + c.Location }

func makeCoats(f Filter, a Answer) Report {
	r := Report{Name: "coats", Title: phrase("Coats and climate"), Filter: f, Names: a.Names}
	if jobs := a.jobs(); len(jobs) > 0 {
		r.Title = phrase("%s: %s", r.Title, jobCell(jobs[0]).Text)
	}
	all, err := coatsOf(a.Log, a.Names.Listed)
	r.Tables = []Table{coatsTable(all, a.Names), warningsTable(all, a.Names), coverageTable(f, a),
		blanksTable(all, a.Names)}
	r.Figures = coatFigures(all)
	r.Notes = phrases(
		"Warnings block nothing: what was done is recorded, and the office looks at it. Limits are those of the product's "+
			"data sheet; where it states none, those that public specifications ask for.",
		"The surface must be at least 3 K above the dew point (ISO 8502-4). The dew point is reckoned from air and humidity.",
		"The implied dry film follows from the area and the litres used. It is a control figure and no measurement: a wet "+
			"film is not taken as proof of thickness either (MIL-HDBK-1110, 9.6.8.4).",
	)
	if err != nil {
		r.Notes = append([]Phrase{phrase("The records of this job cannot be read: %s", err.Error())}, r.Notes...)
	}
	return r
}

// where says in words where a coat was applied.
func (d coatDone) where(names Names) string {
	parts := []string{named(names.Tasks, d.coat.Task)}
	for _, p := range []string{Spoken(d.coat.Surface), d.coat.Location} {
		if p != "" {
			parts = append(parts, p)
		}
	}
	return strings.Join(parts, ", ")
}

func coatsTable(all []coatDone, names Names) Table {
	t := Table{
		Name: "coats", Title: "Coats",
		Columns: []Column{
			{"day", "Day", FormDay}, {"where", "Where", FormText}, {"coat_count", "Coat", FormCount},
			{"product", "Product", FormName}, {"batch", "Batch", FormText}, {"done_milli", "Done", FormQuantity},
			{"used_milli", "Used", FormQuantity}, {"coverage_reading_milli", "m² per litre", FormReading},
			{"wet_film_reading_milli", "Wet film, µm", FormReading},
			{"dry_film_reading_milli", "Implied dry film, µm", FormReading},
			{"air_reading_milli", "Air, °C", FormReading}, {"surface_reading_milli", "Surface, °C", FormReading},
			{"humidity_reading_milli", "Humidity, %", FormReading}, {"dew_point_reading_milli", "Dew point, °C", FormReading},
			{"above_dew_point_reading_milli", "Surface above it, K", FormReading}, {"warnings_count", "Warnings", FormCount},
		},
		Empty: "No coat was recorded on this job.",
	}
	for _, d := range all {
		c := d.coat
		used := Cell{Number: c.VolumeMilli, Unit: events.Litre, Blank: c.VolumeMilli == 0}
		coverage := Cell{Blank: true}
		if c.Unit == events.SquareMetre && c.VolumeMilli > 0 {
			coverage = Cell{Number: ratio(c.QuantityMilli, 1000, c.VolumeMilli)}
		}
		dew, above := d.dewPoint()
		t.Rows = append(t.Rows, []Cell{
			dayCell(d.day), textCell(d.where(names)), numberCell(c.Coat), nameCell(names.Products, c.Product), textCell(c.Batch),
			{Number: c.QuantityMilli, Unit: c.Unit}, used, coverage, wetFilm(c), impliedFilm(c, names.Listed[c.Product]),
			readingCell(c.AirCelsiusMilli), readingCell(c.SurfaceCelsiusMilli), readingCell(c.HumidityPercentMilli),
			dew, above, numberCell(int64(len(d.warnings))),
		})
	}
	return t
}

func readingCell(milli *int64) Cell {
	if milli == nil {
		return Cell{Blank: true}
	}
	return Cell{Number: *milli}
}

func wetFilm(c *events.Coat) Cell {
	if len(c.WetFilmUm) == 0 {
		return Cell{Blank: true}
	}
	var sum int64
	for _, um := range c.WetFilmUm {
		sum += um
	}
	return Cell{Number: ratio(sum, 1000, int64(len(c.WetFilmUm)))}
}

// impliedFilm is what the litres used dry to on the area; blank where the data
// sheet states no solids.
func impliedFilm(c *events.Coat, p events.Product) Cell {
	if c.Unit != events.SquareMetre || c.VolumeMilli == 0 || p.VolumeSolidsBasisPoints == 0 {
		return Cell{Blank: true}
	}
	// A litre on a square metre is a wet film of 1000 micrometres, and thinner dries
	// away: the solids are those of the coating that was used.
	return Cell{Number: ratios([]int64{c.VolumeMilli, p.VolumeSolidsBasisPoints, 1_000_000},
		[]int64{c.QuantityMilli, 10_000})}
}

// dewPoint returns the dew point and how far the surface was above it.
func (d coatDone) dewPoint() (dew, above Cell) {
	blank := Cell{Blank: true}
	c := d.coat
	if c.AirCelsiusMilli == nil || c.HumidityPercentMilli == nil {
		return blank, blank
	}
	point, ok := coating.SettlingPoint(float64(*c.AirCelsiusMilli)/1000, float64(*c.HumidityPercentMilli)/1000)
	if !ok {
		return blank, blank
	}
	dew = Cell{Number: coating.Milli(point)}
	if c.SurfaceCelsiusMilli == nil {
		return dew, blank
	}
	return dew, Cell{Number: *c.SurfaceCelsiusMilli - dew.Number}
}

// warningWords says what each check of a coat is about.
func warningWords(k coating.Key) string {
	return strings.ToUpper(string(k[:1])) + strings.ReplaceAll(string(k[1:]), "-", " ")
}

func warningsTable(all []coatDone, names Names) Table {
	t := Table{
		Name: "warnings", Title: "To look at",
		Columns: []Column{
			{"day", "Day", FormDay}, {"where", "Where", FormText}, {"coat_count", "Coat", FormCount},
			{"warning", "Warning", FormText}, {"found", "What was found", FormText}, {"source", "Limit from", FormText},
		},
		Empty: "Every coat that was checked is within its limits.",
	}
	for _, d := range all {
		for _, w := range d.warnings {
			var figures []Phrase
			for _, f := range w.Figures {
				figures = append(figures, phrase("%s %s", phrase(f.Name), f.Amount()))
			}
			t.Rows = append(t.Rows, []Cell{dayCell(d.day), textCell(d.where(names)), numberCell(d.coat.Coat),
				wordCell(warningWords(w.Key)), phraseCell(joined("; ", figures...)), wordCell(w.Source)})
		}
	}
	return t
}

func blanksTable(all []coatDone, names Names) Table {
	t := Table{
		Name: "missing", Title: "What could not be checked",
		Columns: []Column{
			{"day", "Day", FormDay}, {"where", "Where", FormText}, {"coat_count", "Coat", FormCount},
			{"missing", "Missing", FormText}, {"checks", "Not checked", FormText},
		},
		Empty: "Every reading that a check needs was taken.",
	}
	for _, d := range all {
		missing := map[string]bool{}
		var readings, checks []Phrase
		for _, b := range d.blanks {
			for _, m := range b.Missing {
				if !missing[m] {
					m := strings.TrimSuffix(strings.TrimSuffix(m, "_milli"), "_um")
					readings = append(readings, phrase(strings.ReplaceAll(m, "_", " ")))
				}
				missing[m] = true
			}
			for _, k := range b.Keys {
				checks = append(checks, phrase(warningWords(k)))
			}
		}
		if len(checks) > 0 {
			t.Rows = append(t.Rows, []Cell{dayCell(d.day), textCell(d.where(names)), numberCell(d.coat.Coat),
				phraseCell(joined(", ", readings...)), phraseCell(joined(", ", checks...))})
		}
	}
	return t
}
