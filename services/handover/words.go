package handover

import (
	"strings"
	"time"

	"daysheet/events"
	"daysheet/reports/coating"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// words are what papers say, in one language: see [papers.Words].
type words struct {
	*texts.Speaker
	wording.Format
}

// Say says a text of the catalogue.
func (w words) Say(key string, values ...string) string { return w.Speaker.Say(key, values...) }

// Language returns the language of the texts.
func (w words) Language() string { return w.Texts.Language() }

// moment says when something was recorded.
func (w words) moment(t time.Time) string {
	return w.Day(events.DayOf(t.UTC())) + " " + t.UTC().Format("15:04") + " UTC"
}

// Warning says why a coat is outside a limit: what was found, the limit and its source.
func (w words) Warning(of coating.Warning) string {
	key := "warning." + string(of.Key)
	if strings.Contains(of.Figures[0].Name, "frost point") {
		key = "warning.surface-near-frost-point"
	}
	return w.Say(key, "found", w.figure(of.Figures[0]), "limit", w.figure(of.Figures[1]), "source", w.source(of.Source))
}

// figure writes a figure with its unit, from a hundred on in tenths.
func (w words) figure(f coating.Figure) string {
	const large, tenths = 100_000, 100
	milli := f.Milli
	if milli >= large || milli <= -large {
		milli = (milli + tenths/2) / tenths * tenths
	}
	return wording.WithUnit(w.Thousandths(milli), f.Unit)
}

// source names the source of a limit. Standards and handbooks keep their names.
func (w words) source(source string) string {
	switch source {
	case coating.DataSheet:
		return w.Say("limit.data-sheet")
	case "public bid specification":
		return w.Say("limit.bid")
	case "common practice, no source":
		return w.Say("limit.practice")
	}
	return source
}
