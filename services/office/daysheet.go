package office

import (
	"maps"
	"net/url"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"daysheet/events"
	"daysheet/reports"
)

// daySheetPath is the form in which a whole crew books its hours of one day.
const daySheetPath = "/office/record/day-sheet"

// daySheetRows is the list in it.
const daySheetRows = "hours"

// rowMark stands between the id of a form and the number of a row, in the id of the
// event that the row makes.
const rowMark = "-"

// crewMost bounds the people who are filled in before.
const crewMost = 12

// newDaySheet makes the form of the payload of one booking: the day is shared.
func newDaySheet() form {
	f := form{path: daySheetPath, kind: events.HoursBooked, group: groupSite, again: true}
	rows := field{owner: "day-sheet", name: daySheetRows, kind: kindRows, required: true}
	for _, d := range shapeOf(reflect.TypeFor[events.Hours]()) {
		switch d.name {
		case "day":
			f.fields = append(f.fields, d)
			continue
		case "grade":
			continue // the usual one; the form of one booking takes another
		case "person":
			d.quiet = true
		}
		rows.inner = append(rows.inner, d)
	}
	f.fields = append(f.fields, rows)
	return f
}

// fillCrew gives each of the firm's people a row.
func fillCrew(values url.Values, names reports.Names) {
	people := slices.Sorted(maps.Keys(names.People))
	for i := range min(len(people), crewMost) {
		values.Set(daySheetRows+"."+strconv.Itoa(i)+".person", people[i])
	}
}

// daySheet makes an event of each row. Its id is that of the form with the number of
// the row, so that rows which are sent again are the same events.
func (e *entry) daySheet(members map[string]any, at time.Time) ([]made, error) {
	rows, _ := members[daySheetRows].([]any)
	var all []made
	for i, row := range rows {
		booking, _ := row.(map[string]any)
		if day := members["day"]; day != nil {
			booking["day"] = day
		}
		place := daySheetRows + "[" + strconv.Itoa(i) + "]."
		one, err := e.event(e.id+rowMark+e.rowOf(place), booking, at, place)
		if err != nil {
			return nil, err
		}
		all = append(all, one)
	}
	return all, nil
}

// rowOf returns the number that a row has in the form.
func (e *entry) rowOf(place string) string {
	control := e.filled.places[place+"person"]
	parts := strings.Split(control, ".")
	return parts[1]
}
