package coating

import (
	"fmt"

	"daysheet/events"
)

// Members of a coat that a check can miss, and what else it can.
const (
	airReading      = "air_celsius_milli"
	surfaceReading  = "surface_celsius_milli"
	humidityReading = "humidity_percent_milli"
	filmReadings    = "wet_film_um"
	volumeUsed      = "volume_milli"
	timeOfCoat      = "time of the coat"
	timeOfLast      = "time of the coat before"
	usableHumidity  = "a humidity and temperature that have a dew point"
	orderOfCoats    = "a coat before that is not later"
)

// checking collects what is found about one coat.
type checking struct {
	applied  Applied
	coat     events.Coat
	product  events.Product
	limits   Limits
	warnings []Warning
	blanks   []Blank
}

// Check holds a coat against the data sheet of its product and, where that says
// nothing, against the limits. A check whose limit nobody states is not made; one
// whose reading was not taken is a [Blank]. A value exactly at a limit is within.
// The zero Product is a product of which nothing is known.
func Check(a Applied, product events.Product, limits Limits) ([]Warning, []Blank) {
	c := &checking{applied: a, coat: a.Coat, product: product, limits: limits.withDataSheet(product)}
	c.temperature("air", airReading, a.Coat.AirCelsiusMilli, AirTooCold, AirTooHot)
	c.temperature("surface", surfaceReading, a.Coat.SurfaceCelsiusMilli, SurfaceTooCold, SurfaceTooHot)
	c.humidity()
	c.dewPoint()
	c.recoat()
	c.film()
	c.coverage()
	return c.warnings, c.blanks
}

// below warns where found is less than the limit, above where it is more.
func (c *checking) below(key Key, found Figure, l Limit, from ...Figure) {
	if l.given() && found.Milli < l.Milli {
		c.warn(key, "at least", found, l, from)
	}
}

func (c *checking) above(key Key, found Figure, l Limit, from ...Figure) {
	if l.given() && found.Milli > l.Milli {
		c.warn(key, "at most", found, l, from)
	}
}

func (c *checking) warn(key Key, bound string, found Figure, l Limit, from []Figure) {
	limit := Figure{bound, l.Milli, found.Unit}
	c.warnings = append(c.warnings, Warning{
		Key: key, Figures: append([]Figure{found, limit}, from...), Rule: limit.String(), Source: l.Source,
	})
}

func (c *checking) blank(missing []string, keys ...Key) {
	c.blanks = append(c.blanks, Blank{Keys: keys, Missing: missing})
}

func (c *checking) temperature(name, member string, reading *int64, cold, hot Key) {
	l := c.limits
	switch {
	case !l.LeastCelsius.given() && !l.MostCelsius.given():
	case reading == nil:
		c.blank([]string{member}, cold, hot)
	default:
		found := Figure{name, *reading, "°C"}
		c.below(cold, found, l.LeastCelsius)
		c.above(hot, found, l.MostCelsius)
	}
}

func (c *checking) humidity() {
	switch reading := c.coat.HumidityPercentMilli; {
	case !c.limits.MostHumidity.given():
	case reading == nil:
		c.blank([]string{humidityReading}, AirTooHumid)
	default:
		c.above(AirTooHumid, Figure{"relative humidity", *reading, "%"}, c.limits.MostHumidity)
	}
}

func (c *checking) dewPoint() {
	if !c.limits.AboveDewPoint.given() {
		return
	}
	var missing []string
	for _, r := range []struct {
		member  string
		reading *int64
	}{
		{airReading, c.coat.AirCelsiusMilli},
		{surfaceReading, c.coat.SurfaceCelsiusMilli},
		{humidityReading, c.coat.HumidityPercentMilli},
	} {
		if r.reading == nil {
			missing = append(missing, r.member)
		}
	}
	if missing != nil {
		c.blank(missing, SurfaceNearDewPoint)
		return
	}
	air, humidity := *c.coat.AirCelsiusMilli, *c.coat.HumidityPercentMilli
	point, ok := SettlingPoint(float64(air)/1000, float64(humidity)/1000)
	if !ok {
		c.blank([]string{usableHumidity}, SurfaceNearDewPoint)
		return
	}
	name := "dew point"
	if point < 0 {
		name = "frost point"
	}
	surface := Figure{"surface", *c.coat.SurfaceCelsiusMilli, "°C"}
	dew := Figure{name, Milli(point), "°C"}
	found := Figure{fmt.Sprintf("surface above %s", name), surface.Milli - dew.Milli, "K"}
	c.below(SurfaceNearDewPoint, found, c.limits.AboveDewPoint, surface, dew)
}

// recoat compares with the data sheet of the coat below, which is the one that
// has to dry.
func (c *checking) recoat() {
	last := c.applied.Last
	switch {
	case last.At.IsZero() && c.coat.Coat > 1:
		c.blank([]string{timeOfLast}, RecoatTooSoon)
	case last.At.IsZero() || last.RecoatMinutes == 0:
	case c.applied.At.IsZero():
		c.blank([]string{timeOfCoat}, RecoatTooSoon)
	case c.applied.At.Before(last.At):
		c.blank([]string{orderOfCoats}, RecoatTooSoon)
	default:
		waited := Figure{"waited", Milli(c.applied.At.Sub(last.At).Minutes()), "min"}
		c.below(RecoatTooSoon, waited, Limit{last.RecoatMinutes * 1000, DataSheet})
	}
}

// film compares the mean of the wet film readings with the wet film that dries
// to what the data sheet says, thinner included.
func (c *checking) film() {
	l := c.limits
	solids := Thinned(Fraction(c.product.VolumeSolidsBasisPoints), Fraction(c.coat.ThinnedBasisPoints))
	asked := WetFilm(float64(c.product.DryFilmUm), solids)
	if asked == 0 || !l.ThinnestFilm.given() && !l.ThickestFilm.given() {
		return
	}
	if len(c.coat.WetFilmUm) == 0 {
		c.blank([]string{filmReadings}, FilmTooThin, FilmTooThick)
		return
	}
	var sum int64
	for _, um := range c.coat.WetFilmUm {
		sum += um
	}
	found := Figure{"mean wet film", Milli(float64(sum) / float64(len(c.coat.WetFilmUm))), "µm"}
	sheet := Figure{"wet film by the data sheet", Milli(asked), "µm"}
	c.below(FilmTooThin, found, l.ThinnestFilm.of(asked), sheet)
	c.above(FilmTooThick, found, l.ThickestFilm.of(asked), sheet)
}

// coverage compares area and litres with the spreading rate of the data sheet,
// after the loss where that is known.
func (c *checking) coverage() {
	l := c.limits
	asked := float64(c.product.SpreadingRateMilli) / 1000
	solids := Fraction(c.product.VolumeSolidsBasisPoints)
	if asked == 0 {
		asked = SpreadingRate(solids, float64(c.product.DryFilmUm))
	}
	asked = Practical(asked, c.applied.Loss)
	if asked == 0 || c.coat.Unit != events.SquareMetre || !l.LeastCoverage.given() && !l.MostCoverage.given() {
		return
	}
	if c.coat.VolumeMilli == 0 {
		c.blank([]string{volumeUsed}, CoverageTooSmall, CoverageTooGreat)
		return
	}
	area, litres := float64(c.coat.QuantityMilli)/1000, float64(c.coat.VolumeMilli)/1000
	found := Figure{"coverage", Milli(over(area, litres)), "m²/l"}
	from := []Figure{{"coverage by the data sheet", Milli(asked), "m²/l"}}
	if solids > 0 {
		film := ImpliedDryFilm(solids, area, Practical(litres, c.applied.Loss))
		from = append(from, Figure{"implied dry film", Milli(film), "µm"})
	}
	c.below(CoverageTooSmall, found, l.LeastCoverage.of(asked), from...)
	c.above(CoverageTooGreat, found, l.MostCoverage.of(asked), from...)
}

// of returns the limit of an amount that l is a share of.
func (l Limit) of(amount float64) Limit {
	if l.given() {
		l.Milli = Milli(amount * float64(l.Milli) / 1000)
	}
	return l
}
