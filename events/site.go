package events

import "fmt"

// Condition is how a place was found before work started there: the proof of
// damage that was there before.
type Condition struct {
	Location string   `json:"location" doc:"Room or part of the building" minLength:"1" maxLength:"120"`
	Item     string   `json:"item,omitempty" doc:"What was looked at, for example window board" maxLength:"120"`
	Finding  string   `json:"finding" doc:"What was seen; say so where it was sound" minLength:"1" maxLength:"2000"`
	Damaged  bool     `json:"damaged,omitempty" doc:"True where something was damaged before the work"`
	Photos   []string `json:"photos,omitempty" doc:"SHA-256 of each photo" maxItems:"500" pattern:"^[0-9a-f]{64}$"`
	Day      Day      `json:"day,omitempty" doc:"Day it was seen, if not the day of the event"`
}

func (n *Condition) check(c *checker) {
	c.text("location", n.Location, nameMax)
	c.optionalText("item", n.Item, nameMax)
	c.text("finding", n.Finding, textMax)
	c.digests("photos", n.Photos)
	c.optionalDay("day", n.Day)
}

// Hours is work of one person on one task on one day.
type Hours struct {
	Person   string `json:"person" doc:"Key of who worked"`
	Grade    string `json:"grade,omitempty" doc:"Grade it is costed at; empty for the person's usual grade"`
	Task     string `json:"task" doc:"Key of the task"`
	Surface  string `json:"surface,omitempty" doc:"Key of the surface"`
	Method   string `json:"method,omitempty" doc:"Key of the method"`
	Location string `json:"location,omitempty" doc:"Room or part of the building" maxLength:"120"`
	Minutes  int64  `json:"minutes" doc:"Minutes worked" minimum:"1" maximum:"1440"`
	Day      Day    `json:"day,omitempty" doc:"Day of the work, if not the day of the event"`
}

func (h *Hours) check(c *checker) {
	c.token("person", h.Person)
	c.optionalToken("grade", h.Grade)
	c.work(h.Task, h.Surface, h.Method, h.Location, h.Day)
	c.within("minutes", h.Minutes, 1, MinutesMax)
}

// work checks the members that every piece of site work shares.
func (c *checker) work(task, surface, method, location string, day Day) {
	c.token("task", task)
	c.optionalToken("surface", surface)
	c.optionalToken("method", method)
	c.optionalText("location", location, nameMax)
	c.optionalDay("day", day)
}

// Protection is a covering or masking that was put up. QuantityMilli measures
// the work (floor covered, edge taped); ProductQuantityMilli what it consumed.
type Protection struct {
	Task                 string   `json:"task" doc:"Key of the protection or masking task"`
	Surface              string   `json:"surface,omitempty" doc:"Key of the surface protected"`
	Location             string   `json:"location,omitempty" doc:"Room or part of the building" maxLength:"120"`
	QuantityMilli        int64    `json:"quantity_milli" doc:"Amount protected in thousandths of the unit" minimum:"1" maximum:"1000000000"`
	Unit                 Unit     `json:"unit" doc:"Unit of the amount protected"`
	Product              string   `json:"product,omitempty" doc:"Key of the product laid"`
	ProductQuantityMilli int64    `json:"product_quantity_milli,omitempty" doc:"Product consumed in thousandths of its unit; leave out what will be laid again" minimum:"0" maximum:"1000000000"`
	ProductUnit          Unit     `json:"product_unit,omitempty" doc:"Unit of the product"`
	Place                string   `json:"place,omitempty" doc:"Key of the store or van the product came from"`
	Reused               bool     `json:"reused,omitempty" doc:"True where the product was laid before on another job"`
	RemoveBy             Day      `json:"remove_by,omitempty" doc:"Last day for clean removal"`
	Photos               []string `json:"photos,omitempty" doc:"SHA-256 of each photo" maxItems:"500" pattern:"^[0-9a-f]{64}$"`
	Day                  Day      `json:"day,omitempty" doc:"Day it was laid, if not the day of the event"`
}

func (p *Protection) check(c *checker) {
	c.work(p.Task, p.Surface, "", p.Location, p.Day)
	c.quantity("quantity_milli", p.QuantityMilli, "unit", p.Unit)
	c.consumed("product", p.Product, "product_quantity_milli", p.ProductQuantityMilli, "product_unit", p.ProductUnit)
	c.optionalToken("place", p.Place)
	c.optionalDay("remove_by", p.RemoveBy)
	c.digests("photos", p.Photos)
}

// consumed checks an optional use of a product beside a piece of work.
func (c *checker) consumed(productField, product, quantityField string, milli int64, unitField string, unit Unit) {
	c.optionalToken(productField, product)
	c.within(quantityField, milli, 0, QuantityMilliMax)
	if milli > 0 {
		c.unit(unitField, unit)
		if product == "" {
			c.refuse(productField, product, "say which product was consumed")
		}
	} else if unit != "" {
		c.unit(unitField, unit)
	}
}

// ProtectionCheck is a look at protection that is down.
type ProtectionCheck struct {
	Laid    string `json:"laid" doc:"Id of the protection laid event" pattern:"^[A-Za-z0-9._-]{8,64}$"`
	Finding string `json:"finding" doc:"What was seen, or what was mended" minLength:"1" maxLength:"2000"`
	Sound   bool   `json:"sound" doc:"True where it still protects"`
	Day     Day    `json:"day,omitempty" doc:"Day of the check, if not the day of the event"`
}

func (p *ProtectionCheck) check(c *checker) {
	c.eventID("laid", p.Laid)
	c.text("finding", p.Finding, textMax)
	c.optionalDay("day", p.Day)
}

// Lifting takes protection up again. It names the protection that was laid;
// QuantityMilli 0 lifts all of it that is still down.
type Lifting struct {
	Laid          string `json:"laid" doc:"Id of the protection laid event" pattern:"^[A-Za-z0-9._-]{8,64}$"`
	QuantityMilli int64  `json:"quantity_milli,omitempty" doc:"Amount lifted in thousandths of the unit laid; 0 for all that is still down" minimum:"0" maximum:"1000000000"`
	Day           Day    `json:"day,omitempty" doc:"Day it was lifted, if not the day of the event"`
}

func (l *Lifting) check(c *checker) {
	c.eventID("laid", l.Laid)
	c.within("quantity_milli", l.QuantityMilli, 0, QuantityMilliMax)
	c.optionalDay("day", l.Day)
}

// Preparation is a surface made fit for its coat.
type Preparation struct {
	Task          string `json:"task" doc:"Key of the preparation task"`
	Surface       string `json:"surface,omitempty" doc:"Key of the surface"`
	Method        string `json:"method,omitempty" doc:"Key of the method, for example dry, wet or extracted"`
	Location      string `json:"location,omitempty" doc:"Room or part of the building" maxLength:"120"`
	QuantityMilli int64  `json:"quantity_milli" doc:"Amount prepared in thousandths of the unit" minimum:"1" maximum:"1000000000"`
	Unit          Unit   `json:"unit" doc:"Unit of the amount"`
	Day           Day    `json:"day,omitempty" doc:"Day of the work, if not the day of the event"`
}

func (p *Preparation) check(c *checker) {
	c.work(p.Task, p.Surface, p.Method, p.Location, p.Day)
	c.quantity("quantity_milli", p.QuantityMilli, "unit", p.Unit)
}

// Coat is one coat on one surface, with the readings that tell how it will last.
// VolumeMilli counts as used: do not record the same paint as [Usage] again.
type Coat struct {
	Task                 string  `json:"task" doc:"Key of the coating task"`
	Surface              string  `json:"surface,omitempty" doc:"Key of the surface"`
	Method               string  `json:"method,omitempty" doc:"Key of the method, for example brush, roller or spray"`
	Location             string  `json:"location,omitempty" doc:"Room or part of the building" maxLength:"120"`
	Coat                 int64   `json:"coat" doc:"Number of the coat, the first is 1" minimum:"1" maximum:"20"`
	QuantityMilli        int64   `json:"quantity_milli" doc:"Amount coated in thousandths of the unit" minimum:"1" maximum:"1000000000"`
	Unit                 Unit    `json:"unit" doc:"Unit of the amount"`
	Product              string  `json:"product,omitempty" doc:"Key of the coating"`
	VolumeMilli          int64   `json:"volume_milli,omitempty" doc:"Coating used in thousandths of a litre" minimum:"0" maximum:"1000000000"`
	Place                string  `json:"place,omitempty" doc:"Key of the store or van the coating came from"`
	Batch                string  `json:"batch,omitempty" doc:"Batch number on the tin" maxLength:"120"`
	Colour               string  `json:"colour_reference,omitempty" doc:"Colour reference that it was tinted to, by the colour card that it names" maxLength:"120"`
	ThinnedBasisPoints   int64   `json:"thinned_basis_points,omitempty" doc:"Volume of thinner for one volume of coating; 1000 is 10 per cent" minimum:"0" maximum:"10000"`
	WetFilmUm            []int64 `json:"wet_film_um,omitempty" doc:"Wet film readings in micrometres" maxItems:"500" minimum:"1" maximum:"10000"`
	AirCelsiusMilli      *int64  `json:"air_celsius_milli,omitempty" doc:"Air temperature in thousandths of a degree Celsius" minimum:"-40000" maximum:"60000"`
	SurfaceCelsiusMilli  *int64  `json:"surface_celsius_milli,omitempty" doc:"Surface temperature in thousandths of a degree Celsius" minimum:"-40000" maximum:"90000"`
	HumidityPercentMilli *int64  `json:"humidity_percent_milli,omitempty" doc:"Relative humidity in thousandths of a per cent" minimum:"0" maximum:"100000"`
	Day                  Day     `json:"day,omitempty" doc:"Day of the work, if not the day of the event"`
}

func (a *Coat) check(c *checker) {
	c.work(a.Task, a.Surface, a.Method, a.Location, a.Day)
	c.within("coat", a.Coat, 1, 20)
	c.quantity("quantity_milli", a.QuantityMilli, "unit", a.Unit)
	c.consumed("product", a.Product, "volume_milli", a.VolumeMilli, "", Litre)
	c.optionalToken("place", a.Place)
	c.optionalText("batch", a.Batch, nameMax)
	c.optionalText("colour_reference", a.Colour, nameMax)
	c.within("thinned_basis_points", a.ThinnedBasisPoints, 0, 10_000)
	c.list("wet_film_um", len(a.WetFilmUm), 0)
	for i, um := range a.WetFilmUm {
		c.within(fmt.Sprintf("wet_film_um[%d]", i), um, 1, 10_000)
	}
	c.reading("air_celsius_milli", a.AirCelsiusMilli, -40_000, 60_000)
	c.reading("surface_celsius_milli", a.SurfaceCelsiusMilli, -40_000, 90_000)
	c.reading("humidity_percent_milli", a.HumidityPercentMilli, 0, 100_000)
}

func (c *checker) reading(field string, value *int64, least, most int64) {
	if value != nil {
		c.within(field, *value, least, most)
	}
}

// Usage is material used that no other event counts (a coat counts its own
// paint, protection its own product).
type Usage struct {
	Product       string `json:"product" doc:"Key of the product"`
	QuantityMilli int64  `json:"quantity_milli" doc:"Amount used in thousandths of the unit" minimum:"1" maximum:"1000000000"`
	Unit          Unit   `json:"unit" doc:"Unit of the product"`
	Task          string `json:"task,omitempty" doc:"Task it was used for"`
	CostE4        int64  `json:"cost_e4,omitempty" doc:"What it cost, where it was bought for this job; 0 costs it at the product's price" minimum:"0" maximum:"1000000000000"`
	Place         string `json:"place,omitempty" doc:"Key of the store or van it came from"`
	Left          bool   `json:"left,omitempty" doc:"True where it was left with the customer, for touching up"`
	Day           Day    `json:"day,omitempty" doc:"Day it was used, if not the day of the event"`
}

func (u *Usage) check(c *checker) {
	c.token("product", u.Product)
	c.quantity("quantity_milli", u.QuantityMilli, "unit", u.Unit)
	c.optionalToken("task", u.Task)
	c.money("cost_e4", u.CostE4)
	c.optionalToken("place", u.Place)
	c.optionalDay("day", u.Day)
}

// Return is material that was recorded as used and came back unused.
type Return struct {
	Product       string `json:"product" doc:"Key of the product"`
	QuantityMilli int64  `json:"quantity_milli" doc:"Amount returned in thousandths of the unit" minimum:"1" maximum:"1000000000"`
	Unit          Unit   `json:"unit" doc:"Unit of the product"`
	Task          string `json:"task,omitempty" doc:"Task it was meant for"`
	CostE4        int64  `json:"cost_e4,omitempty" doc:"Value it came back at; 0 values it at the product's price" minimum:"0" maximum:"1000000000000"`
	Place         string `json:"place,omitempty" doc:"Key of the store or van it went to"`
	Day           Day    `json:"day,omitempty" doc:"Day of return, if not the day of the event"`
}

func (r *Return) check(c *checker) {
	c.token("product", r.Product)
	c.quantity("quantity_milli", r.QuantityMilli, "unit", r.Unit)
	c.optionalToken("task", r.Task)
	c.money("cost_e4", r.CostE4)
	c.optionalToken("place", r.Place)
	c.optionalDay("day", r.Day)
}
