package coating

import (
	"math"

	"daysheet/events"
)

// Limit is one bound with where it comes from. The zero value, which has no
// source, bounds nothing.
type Limit struct {
	Milli  int64 // thousandths of the unit that the field of [Limits] names
	Source string
}

func (l Limit) given() bool { return l.Source != "" }

// Limits are the bounds within which a coat is applied. A product's data sheet
// goes before them: see [Check].
type Limits struct {
	LeastCelsius  Limit // air and surface, °C
	MostCelsius   Limit // air and surface, °C
	MostHumidity  Limit // relative humidity, per cent
	AboveDewPoint Limit // surface above dew point, kelvin

	// Shares of what the data sheet says, 1000 for exactly that.
	ThinnestFilm  Limit // mean wet film
	ThickestFilm  Limit // mean wet film
	LeastCoverage Limit // m² for a litre
	MostCoverage  Limit // m² for a litre
}

// DataSheet is the source of a limit that the product's listing gave.
const DataSheet = "data sheet of the product"

const (
	publicSpecification = "public bid specification"
	handbookUS          = "US DoD MIL-HDBK-1110"
	commonPractice      = "common practice, no source"
)

// General returns the limits for air and surface that public specifications ask
// for: 7 to 35 °C, at most 85 per cent humidity, surface 3 K above the dew point
// (ISO 8502-4).
func General() Limits {
	return plausible(Limits{
		LeastCelsius:  Limit{7_000, publicSpecification},
		MostCelsius:   Limit{35_000, publicSpecification},
		MostHumidity:  Limit{85_000, publicSpecification},
		AboveDewPoint: Limit{3_000, "ISO 8502-4"},
	})
}

// USHandbook returns the limits of US DoD MIL-HDBK-1110: 45 to 90 °F (7.4.1) and
// surface 5 °F above the dew point (9.6.6), which is 2.78 K and not 3. That it
// must be rising too cannot be told from one reading. It limits no humidity.
func USHandbook() Limits {
	return plausible(Limits{
		LeastCelsius:  Limit{Milli(Celsius(45)), handbookUS + " 7.4.1"},
		MostCelsius:   Limit{Milli(Celsius(90)), handbookUS + " 7.4.1"},
		AboveDewPoint: Limit{Milli(Kelvin(5)), handbookUS + " 9.6.6"},
	})
}

// plausible adds the shares of the data sheet beyond which a film or a coverage
// is worth a question. Coverage is wider: it bears loss, laps and rough ground.
func plausible(l Limits) Limits {
	l.ThinnestFilm, l.ThickestFilm = Limit{800, commonPractice}, Limit{1_500, commonPractice}
	l.LeastCoverage, l.MostCoverage = Limit{500, commonPractice}, Limit{1_500, commonPractice}
	return l
}

// withDataSheet returns the limits with those that the product states in place of
// the general ones.
func (l Limits) withDataSheet(p events.Product) Limits {
	if p.LeastCelsiusMilli != nil {
		l.LeastCelsius = Limit{*p.LeastCelsiusMilli, DataSheet}
	}
	if p.MostCelsiusMilli != nil {
		l.MostCelsius = Limit{*p.MostCelsiusMilli, DataSheet}
	}
	if p.MostHumidityMilli > 0 {
		l.MostHumidity = Limit{p.MostHumidityMilli, DataSheet}
	}
	return l
}

// Milli returns thousandths, to the nearest, halves away from zero.
func Milli(x float64) int64 { return int64(math.Round(x * 1000)) }
