package rates

import (
	"math"

	"daysheet/events"
)

// MinutesMilli turns minutes per unit into the whole thousandths of a minute
// that a rate book holds: to the nearest, halves away from zero. What is below 0
// or not a number becomes 0, what is beyond the limit of a rate becomes the
// limit.
func MinutesMilli(minutes float64) int64 {
	const most = events.PlanMinutesMax * 1000
	return milli(minutes, most)
}

// UseMilli turns the use of a product per unit of work into the thousandths of
// the product's unit that a rate book holds, rounded like [MinutesMilli].
func UseMilli(use float64) int64 { return milli(use, events.QuantityMilliMax) }

func milli(amount float64, most int64) int64 {
	switch scaled := math.Round(amount * 1000); {
	case !(scaled > 0):
		return 0
	case scaled >= float64(most):
		return most
	default:
		return int64(scaled)
	}
}
