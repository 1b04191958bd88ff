package coating

import "math"

// magnus is one set of coefficients of the Magnus formula for the pressure of
// saturated vapour, e = 6.112 hPa × exp(b×t/(c+t)), from the WMO Guide to
// Instruments and Methods of Observation (WMO-No. 8).
type magnus struct {
	b, c        float64
	least, most float64 // °C for which the set is made
}

func overWater() magnus { return magnus{b: 17.62, c: 243.12, least: -45, most: 60} }

func overIce() magnus { return magnus{b: 22.46, c: 272.62, least: -65, most: 0} }

// exponent is b×t/(c+t).
func (m magnus) exponent(celsius float64) float64 { return m.b * celsius / (m.c + celsius) }

// at is the inverse of exponent. ok is false outside the range of the set.
func (m magnus) at(exponent float64) (celsius float64, ok bool) {
	celsius = m.c * exponent / (m.b - exponent)
	return celsius, celsius >= m.least && celsius <= m.most
}

// vapour is the exponent of the vapour in air of the given humidity, which is
// relative to water at every temperature, as instruments show it.
func vapour(air, humidity float64) (exponent float64, ok bool) {
	w := overWater()
	if !(air >= w.least && air <= w.most && humidity > 0 && humidity <= 100) {
		return 0, false
	}
	return math.Log(humidity/100) + w.exponent(air), true
}

// DewPoint returns the temperature in °C at which air of the given temperature
// and relative humidity in per cent is saturated over liquid water, also below
// zero. ok is false for a humidity not above 0 or over 100, and outside -45 to
// 60 °C, for which the coefficients are made.
func DewPoint(air, humidity float64) (celsius float64, ok bool) {
	e, ok := vapour(air, humidity)
	if !ok {
		return 0, false
	}
	celsius, ok = overWater().at(e)
	return celsius, ok
}

// FrostPoint is [DewPoint] over ice, which tables print below zero: it lies above
// the dew point there. ok is false also where the air is saturated above zero
// and no frost can form.
func FrostPoint(air, humidity float64) (celsius float64, ok bool) {
	e, ok := vapour(air, humidity)
	if !ok {
		return 0, false
	}
	celsius, ok = overIce().at(e)
	return celsius, ok
}

// SettlingPoint returns the surface temperature in °C at and below which water or
// frost settles: the dew point, and below zero the frost point, which is reached
// first. ok is false where neither is known.
func SettlingPoint(air, humidity float64) (celsius float64, ok bool) {
	if dew, ok := DewPoint(air, humidity); ok && dew >= 0 {
		return dew, true
	}
	return FrostPoint(air, humidity)
}

// Humidity returns the relative humidity in per cent of air with a dew point over
// water: the inverse of [DewPoint]. ok is false outside -45 to 60 °C, and for a
// dew point above the air's temperature.
func Humidity(air, dewPoint float64) (percent float64, ok bool) {
	w := overWater()
	if !(dewPoint >= w.least && dewPoint <= air && air <= w.most) {
		return 0, false
	}
	return 100 * math.Exp(w.exponent(dewPoint)-w.exponent(air)), true
}
