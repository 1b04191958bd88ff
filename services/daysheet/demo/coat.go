package demo

import (
	"fmt"
	"math"
	"time"

	"daysheet/events"
)

// coat records one coat with its readings.
func (j *job) coat(person string, at time.Time, l line, milli, volume int64) {
	air, humidity := j.climate()
	surface := air - 500 - 500*int64(j.rng.IntN(5))
	c := &events.Coat{
		Task: l.task, Surface: l.surface, Method: l.method, Location: l.location, Coat: l.coat,
		QuantityMilli: milli, Unit: unitOf(l.task), Product: l.product, VolumeMilli: volume, Place: van,
		Colour:          colourOf(j.number, l.surface),
		Batch:           fmt.Sprintf("B%05d", 10_000+j.rng.IntN(89_999)),
		AirCelsiusMilli: &air, SurfaceCelsiusMilli: &surface, HumidityPercentMilli: &humidity,
	}
	if l.method == "spray" && j.rng.Float64() < .4 {
		c.ThinnedBasisPoints = 500
	}
	if c.Unit == events.SquareMetre {
		// A litre on a square metre is a film of 1000 micrometres.
		film := float64(volume) / float64(milli) * 1000
		for range 3 {
			c.WetFilmUm = append(c.WetFilmUm, max(20, int64(math.Round(film*math.Exp(j.rng.NormFloat64()*.08)/5))*5))
		}
	}
	var uses []taken
	if volume > 0 {
		uses = append(uses, taken{l.product, volume})
	}
	j.add(person, at, events.CoatApplied, c, uses...)
}

// climate draws air temperature and humidity for the day at hand, in
// thousandths. Outdoors it follows the year.
func (j *job) climate() (celsius, percent int64) {
	if !j.kind.outdoors {
		return 16_500 + 500*int64(j.rng.IntN(10)), 42_000 + 1000*int64(j.rng.IntN(22))
	}
	year := float64(j.day.Time().YearDay()) / 365 * 2 * math.Pi
	warm := 11 - 9*math.Cos(year-.35) + j.rng.NormFloat64()*2.5
	return int64(math.Round(warm*2)) * 500, 55_000 + 1000*int64(j.rng.IntN(34))
}
