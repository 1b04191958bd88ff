package main

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// order returns the slope of a straight line through the logarithms of sizes and
// values, by least squares: 0 where values do not depend on the size, 1 where they
// grow with it, 2 with its square. It is NaN for fewer than two sizes.
func order(sizes, values []float64) float64 {
	var x, y []float64
	for i := range sizes {
		if sizes[i] > 0 && values[i] > 0 {
			x, y = append(x, math.Log(sizes[i])), append(y, math.Log(values[i]))
		}
	}
	if len(x) < 2 || x[0] == x[len(x)-1] {
		return math.NaN()
	}
	_, slope := stat.LinearRegression(x, y, nil, false)
	return slope
}
