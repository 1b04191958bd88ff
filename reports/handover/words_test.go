package handover

import (
	"encoding/json"
	"os"
	"strconv"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/reports/coating"
)

// spokenWords says the English texts of the program, with days, numbers and warnings in
// the neutral form of the reports.
type spokenWords struct {
	t  *testing.T
	by map[string]string
}

// english reads the texts where the program has them.
func english(t *testing.T) spokenWords {
	t.Helper()
	w := spokenWords{t, map[string]string{}}
	for _, room := range []string{"handover", "frame"} {
		raw, err := os.ReadFile("../../services/texts/en/" + room + ".json")
		if err == nil {
			err = json.Unmarshal(raw, &w.by)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return w
}

func (w spokenWords) Say(key string, values ...string) string {
	text := w.by[key]
	for i := 0; i+1 < len(values); i += 2 {
		text = strings.ReplaceAll(text, "{"+values[i]+"}", values[i+1])
	}
	if text == "" || strings.Contains(text, "{") {
		w.t.Errorf("%s with %q is %q", key, values, text)
	}
	return text
}

func (w spokenWords) Day(d events.Day) string                       { return string(d) }
func (w spokenWords) Count(n int64) string                          { return strconv.FormatInt(n, 10) }
func (w spokenWords) Share(points int64) string                     { return reports.ShareText(points) }
func (w spokenWords) Warning(of coating.Warning) string             { return of.Text() }
func (w spokenWords) Quantity(milli int64, unit events.Unit) string { return amount(milli, unit) }

// amount says a quantity in a sentence, with no more places than needed.
func amount(milli int64, unit events.Unit) string {
	number := strconv.FormatFloat(float64(milli)/1000, 'f', -1, 64)
	switch unit {
	case events.Each, "":
		return number
	case events.SquareMetre:
		return number + " m²"
	}
	return number + " " + string(unit)
}
