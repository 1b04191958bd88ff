package events

// Move is material that went from one place to another: from the store to a van,
// or from one van to another.
type Move struct {
	Product       string `json:"product" doc:"Key of the product"`
	QuantityMilli int64  `json:"quantity_milli" doc:"Amount moved in thousandths of the unit" minimum:"1" maximum:"1000000000"`
	Unit          Unit   `json:"unit" doc:"Unit of the product"`
	From          string `json:"from" doc:"Key of the store or van it came from"`
	To            string `json:"to" doc:"Key of the store or van it went to"`
	Day           Day    `json:"day,omitempty" doc:"Day of the move, if not the day of the event"`
}

func (m *Move) check(c *checker) {
	c.token("product", m.Product)
	c.quantity("quantity_milli", m.QuantityMilli, "unit", m.Unit)
	c.token("from", m.From)
	c.token("to", m.To)
	if m.From == m.To {
		c.refuse("to", m.To, "another place than the one it came from")
	}
	c.optionalDay("day", m.Day)
}

// Count is what was found of a product at a place when somebody looked. It holds
// from the end of its day on: what the books say before it does not matter any
// more.
type Count struct {
	Product       string `json:"product" doc:"Key of the product"`
	QuantityMilli int64  `json:"quantity_milli" doc:"Amount found in thousandths of the unit; 0 where there was none" minimum:"0" maximum:"1000000000"`
	Unit          Unit   `json:"unit" doc:"Unit of the product"`
	Place         string `json:"place,omitempty" doc:"Key of the store or van that was counted"`
	Day           Day    `json:"day,omitempty" doc:"Day of the count, if not the day of the event"`
}

func (n *Count) check(c *checker) {
	c.token("product", n.Product)
	c.within("quantity_milli", n.QuantityMilli, 0, QuantityMilliMax)
	c.unit("unit", n.Unit)
	c.optionalToken("place", n.Place)
	c.optionalDay("day", n.Day)
}
