package events

import "fmt"

// Overhead says how a job bears its part of what the firm costs beside its jobs:
// office, vans, insurance. The parts add up, so that a firm can spread some of it
// by the hour and some by cost. The same share of labour and of material is a
// share of prime cost.
type Overhead struct {
	PerHourE4           int64 `json:"per_hour_e4,omitempty" doc:"For each hour of labour, in ten-thousandths of the currency unit" minimum:"0" maximum:"1000000000000"`
	LabourBasisPoints   int64 `json:"labour_basis_points,omitempty" doc:"Share of labour cost; 2000 is 20 per cent" minimum:"0" maximum:"100000"`
	MaterialBasisPoints int64 `json:"material_basis_points,omitempty" doc:"Share of material cost; 2000 is 20 per cent" minimum:"0" maximum:"100000"`
}

func (o *Overhead) check(c *checker) {
	c.money("overhead.per_hour_e4", o.PerHourE4)
	c.within("overhead.labour_basis_points", o.LabourBasisPoints, 0, 100_000)
	c.within("overhead.material_basis_points", o.MaterialBasisPoints, 0, 100_000)
}

// The ways in which a price is made from cost.
const (
	PricingMarkUp = "mark-up" // a share of the cost is added
	PricingMargin = "margin"  // a share of the price is left
)

// Pricing says what quotes add to cost. A margin of a quarter is a mark-up of a
// third: which of the two is meant must be said.
type Pricing struct {
	Method      string  `json:"method" doc:"mark-up is a share of the cost, margin a share of the price" enum:"mark-up,margin"`
	BasisPoints int64   `json:"basis_points" doc:"The share; 2500 is 25 per cent" minimum:"0" maximum:"9500"`
	AddOns      []AddOn `json:"add_ons,omitempty" doc:"Further shares that the firm's quotes state by name, in order" maxItems:"500"`
}

// AddOn is a named share that a quote adds, for example for water or for a tax
// other than value added tax.
type AddOn struct {
	Name        string `json:"name" doc:"How the quote calls it" minLength:"1" maxLength:"120"`
	BasisPoints int64  `json:"basis_points" doc:"The share; 100 is 1 per cent" minimum:"0" maximum:"100000"`
	Compounded  bool   `json:"compounded,omitempty" doc:"True where it is taken of the sum with all add-ons before it, false where of the cost alone"`
}

func (p *Pricing) check(c *checker) {
	c.oneOf("pricing.method", p.Method, PricingMarkUp, PricingMargin)
	c.within("pricing.basis_points", p.BasisPoints, 0, 9_500)
	c.list("pricing.add_ons", len(p.AddOns), 0)
	for i, a := range p.AddOns {
		c.text(fmt.Sprintf("pricing.add_ons[%d].name", i), a.Name, nameMax)
		c.within(fmt.Sprintf("pricing.add_ons[%d].basis_points", i), a.BasisPoints, 0, 100_000)
	}
}

// The rules by which surfaces are measured, see package measure of the reports.
const (
	MeasureNet      = "net"       // every opening is deducted
	MeasureDIN18363 = "din-18363" // openings up to 2.5 m² are measured over
	MeasureIS1200   = "is-1200"   // openings are deducted in three steps
)

func (c *checker) optionalRule(field, rule string) {
	if rule != "" {
		c.oneOf(field, rule, MeasureNet, MeasureDIN18363, MeasureIS1200)
	}
}
