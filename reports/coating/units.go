package coating

// Exact by definition (international yard and pound, 1959; US gallon of 231
// cubic inches).
const (
	UmPerMil                   = 25.4
	SquareMetresPerSquareFoot  = 0.09290304
	SquareMetresPerSquareYard  = 0.83612736
	LitresPerUSGallon          = 3.785411784
	squareMetresPerLitreFactor = SquareMetresPerSquareFoot / LitresPerUSGallon
)

// SquareMetresPerLitre turns a spreading rate in square feet for a US gallon into
// m²/l.
func SquareMetresPerLitre(squareFeetPerGallon float64) float64 {
	return squareFeetPerGallon * squareMetresPerLitreFactor
}

// Celsius turns a temperature in degrees Fahrenheit into degrees Celsius.
func Celsius(fahrenheit float64) float64 { return (fahrenheit - 32) / 1.8 }

// Kelvin turns a difference of degrees Fahrenheit into kelvin: 5 are 2.78, not 3.
func Kelvin(fahrenheitDifference float64) float64 { return fahrenheitDifference / 1.8 }
