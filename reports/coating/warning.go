package coating

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"daysheet/events"
)

// Key names a check. Keys are for ever: they stand in reports and filters.
type Key string

// The checks of a coat, in the order in which [Check] makes them.
const (
	AirTooCold          Key = "air-too-cold"
	AirTooHot           Key = "air-too-hot"
	SurfaceTooCold      Key = "surface-too-cold"
	SurfaceTooHot       Key = "surface-too-hot"
	AirTooHumid         Key = "air-too-humid"
	SurfaceNearDewPoint Key = "surface-near-dew-point"
	RecoatTooSoon       Key = "recoat-too-soon"
	FilmTooThin         Key = "film-too-thin"
	FilmTooThick        Key = "film-too-thick"
	CoverageTooSmall    Key = "coverage-too-small" // more coating used than the area can hold
	CoverageTooGreat    Key = "coverage-too-great" // less coating used than the area needs
)

// Figure is one number of a warning, in thousandths of its unit.
type Figure struct {
	Name  string
	Milli int64
	Unit  string
}

// String says the figure with no more places than needed: "air 4.5 °C". From a
// hundred on, tenths say enough: films are not read closer.
func (f Figure) String() string { return f.Name + " " + f.Amount() }

// Amount says the figure without its name.
func (f Figure) Amount() string {
	const large = 100_000
	text := strconv.FormatFloat(float64(f.Milli)/1000, 'f', -1, 64)
	if f.Milli >= large || f.Milli <= -large {
		text = strings.TrimSuffix(strconv.FormatFloat(float64(f.Milli)/1000, 'f', 1, 64), ".0")
	}
	return text + " " + f.Unit
}

// Warning says that a coat was applied outside a limit. It blocks nothing: what
// happened is accepted, and the office looks at it.
type Warning struct {
	Key     Key
	Figures []Figure // what was found, then the limit, then what it was reckoned from
	Rule    string   // the limit in words
	Source  string   // where the limit comes from
}

// Text says the warning in one sentence.
func (w Warning) Text() string {
	return fmt.Sprintf("%s; %s (%s)", w.Figures[0], w.Rule, w.Source)
}

// Blank says that a check could not be made. No value is invented in place of a
// reading that was not taken.
type Blank struct {
	Keys    []Key    // the checks that were not made
	Missing []string // members of the coat, or what else is not known
}

// Earlier is the coat under the one that is checked, on the same surface in the
// same location. The zero value is no such coat that is known.
type Earlier struct {
	At            time.Time // when it was finished
	RecoatMinutes int64     // least time to the next coat by the data sheet of *its* product; 0 if not stated
}

// Applied is a coat with what the events around it tell.
type Applied struct {
	Coat events.Coat
	At   time.Time // when it was begun; zero where only the day is known
	Last Earlier
	Loss float64 // fraction of the coating that did not reach the surface; 0 where it is not known
}
