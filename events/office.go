package events

import "fmt"

// Opening opens a job. It holds no personal data: the customer is a reference,
// and the title is for the crew ("Stairwell, two floors").
type Opening struct {
	JobType  string `json:"job_type" doc:"One of the firm's job types"`
	Title    string `json:"title" doc:"Short description for the crew, without personal data" minLength:"1" maxLength:"120"`
	Customer string `json:"customer,omitempty" doc:"Reference to the customer, not a name"`
	Built    int64  `json:"built,omitempty" doc:"Year the building was built, for the cautions that depend on its age; 0 if not known" minimum:"0" maximum:"2148"`
	Start    Day    `json:"start,omitempty" doc:"Day on which the work is planned to begin"`
	Due      Day    `json:"due,omitempty" doc:"Day agreed for handover"`
}

func (o *Opening) check(c *checker) {
	c.token("job_type", o.JobType)
	c.text("title", o.Title, nameMax)
	c.optionalToken("customer", o.Customer)
	if o.Built != 0 {
		c.within("built", o.Built, 1000, 2148)
	}
	c.optionalDay("start", o.Start)
	c.optionalDay("due", o.Due)
}

// Estimate is what the firm offers: the work, the consumables and the price.
// The accepted estimate is in force; before acceptance, the last one issued.
type Estimate struct {
	Lines      []EstimateLine     `json:"lines" doc:"The work" minItems:"1" maxItems:"500"`
	Materials  []EstimateMaterial `json:"materials,omitempty" doc:"The consumables" maxItems:"500"`
	PriceE4    int64              `json:"price_e4" doc:"Price for all of it, net of tax, in ten-thousandths of the currency unit" minimum:"0" maximum:"1000000000000"`
	RateBook   string             `json:"rate_book,omitempty" doc:"Revision of the rate book it was priced from"`
	MeasuredBy string             `json:"measured_by,omitempty" doc:"Rule by which the quantities were measured" enum:"net,din-18363,is-1200"`
	Note       string             `json:"note,omitempty" doc:"Anything else that was agreed" maxLength:"2000"`
	Day        Day                `json:"day,omitempty" doc:"Day of the estimate, if not the day of the event"`
}

// EstimateLine is one piece of planned work. QuantityMilli may be 0 for work
// that is planned by time alone.
type EstimateLine struct {
	Task          string `json:"task" doc:"Key of the task"`
	Surface       string `json:"surface,omitempty" doc:"Key of the surface"`
	Method        string `json:"method,omitempty" doc:"Key of the method, for example brush, roller or spray"`
	Location      string `json:"location,omitempty" doc:"Room or part of the building" maxLength:"120"`
	QuantityMilli int64  `json:"quantity_milli,omitempty" doc:"Planned quantity in thousandths of the unit" minimum:"0" maximum:"1000000000"`
	Unit          Unit   `json:"unit,omitempty" doc:"Unit of the quantity; needed where a quantity is given"`
	Minutes       int64  `json:"minutes" doc:"Planned labour in minutes" minimum:"0" maximum:"1000000"`
	Grade         string `json:"grade,omitempty" doc:"Grade of labour it is costed at"`
	CostE4        int64  `json:"cost_e4,omitempty" doc:"Planned labour cost; 0 costs the minutes at the grade" minimum:"0" maximum:"1000000000000"`
}

// EstimateMaterial is one planned consumable.
type EstimateMaterial struct {
	Product       string `json:"product" doc:"Key of the product"`
	Task          string `json:"task,omitempty" doc:"Task it is planned for"`
	QuantityMilli int64  `json:"quantity_milli" doc:"Planned use in thousandths of the unit" minimum:"1" maximum:"1000000000"`
	Unit          Unit   `json:"unit" doc:"Unit of the product"`
	CostE4        int64  `json:"cost_e4,omitempty" doc:"Planned cost; 0 costs it at the product's price" minimum:"0" maximum:"1000000000000"`
}

func (e *Estimate) check(c *checker) {
	c.list("lines", len(e.Lines), 1)
	checkLines(c, e.Lines, e.Materials)
	c.money("price_e4", e.PriceE4)
	c.optionalToken("rate_book", e.RateBook)
	c.optionalRule("measured_by", e.MeasuredBy)
	c.optionalText("note", e.Note, textMax)
	c.optionalDay("day", e.Day)
}

func checkLines(c *checker, lines []EstimateLine, materials []EstimateMaterial) {
	for i, l := range lines {
		at := fmt.Sprintf("lines[%d].", i)
		c.token(at+"task", l.Task)
		c.optionalToken(at+"surface", l.Surface)
		c.optionalToken(at+"method", l.Method)
		c.optionalText(at+"location", l.Location, nameMax)
		c.within(at+"quantity_milli", l.QuantityMilli, 0, QuantityMilliMax)
		if l.QuantityMilli > 0 || l.Unit != "" {
			c.unit(at+"unit", l.Unit)
		}
		c.within(at+"minutes", l.Minutes, 0, PlanMinutesMax)
		c.optionalToken(at+"grade", l.Grade)
		c.money(at+"cost_e4", l.CostE4)
	}
	c.list("materials", len(materials), 0)
	for i, m := range materials {
		at := fmt.Sprintf("materials[%d].", i)
		c.token(at+"product", m.Product)
		c.optionalToken(at+"task", m.Task)
		c.quantity(at+"quantity_milli", m.QuantityMilli, at+"unit", m.Unit)
		c.money(at+"cost_e4", m.CostE4)
	}
}

// Acceptance is the customer's yes to an estimate.
type Acceptance struct {
	Estimate string `json:"estimate" doc:"Id of the estimate issued event that is accepted" pattern:"^[A-Za-z0-9._-]{8,64}$"`
	Note     string `json:"note,omitempty" doc:"What the customer said with it" maxLength:"2000"`
	Day      Day    `json:"day,omitempty" doc:"Day of acceptance, if not the day of the event"`
}

func (a *Acceptance) check(c *checker) {
	c.eventID("estimate", a.Estimate)
	c.optionalText("note", a.Note, textMax)
	c.optionalDay("day", a.Day)
}

// Variation is an agreed change of scope. It adds to the estimate; PriceE4 is
// negative where the change saves the customer money.
type Variation struct {
	Reason    string             `json:"reason" doc:"What changed and who asked for it" minLength:"1" maxLength:"2000"`
	Lines     []EstimateLine     `json:"lines,omitempty" doc:"The added work" maxItems:"500"`
	Materials []EstimateMaterial `json:"materials,omitempty" doc:"The added consumables" maxItems:"500"`
	PriceE4   int64              `json:"price_e4" doc:"Change of the price, net of tax, in ten-thousandths of the currency unit" maximum:"1000000000000" minimum:"-1000000000000"`
	Day       Day                `json:"day,omitempty" doc:"Day of agreement, if not the day of the event"`
}

func (v *Variation) check(c *checker) {
	c.text("reason", v.Reason, textMax)
	c.list("lines", len(v.Lines), 0)
	checkLines(c, v.Lines, v.Materials)
	c.within("price_e4", v.PriceE4, -MoneyE4Max, MoneyE4Max)
	c.optionalDay("day", v.Day)
}

// SignOff is the customer's acceptance of the finished work. Who signed, and how,
// is sealed with the key of the customer.
type SignOff struct {
	Role     string   `json:"role" doc:"In which role the customer's side signed, for example owner or site manager" minLength:"1" maxLength:"120"`
	Remarks  string   `json:"remarks,omitempty" doc:"What was said with it, without personal data" maxLength:"2000"`
	Customer string   `json:"customer,omitempty" doc:"Key of the customer whose key opens what is sealed"`
	Sealed   *Sealed  `json:"sealed,omitempty" doc:"Name and signature of who signed"`
	Snags    []string `json:"snags,omitempty" doc:"Ids of the snags that were open and agreed on" maxItems:"500" pattern:"^[A-Za-z0-9._-]{8,64}$"`
	Day      Day      `json:"day,omitempty" doc:"Day of sign-off, if not the day of the event"`
}

func (s *SignOff) check(c *checker) {
	c.text("role", s.Role, nameMax)
	c.optionalText("remarks", s.Remarks, textMax)
	s.checkSigner(c)
	c.optionalDay("day", s.Day)
}

// Closing ends a job in the books. BilledE4 is what the customer was charged.
type Closing struct {
	BilledE4 int64 `json:"billed_e4" doc:"Charged for the whole job, net of tax, in ten-thousandths of the currency unit" minimum:"0" maximum:"1000000000000"`
	Day      Day   `json:"day,omitempty" doc:"Day of closing, if not the day of the event"`
}

func (b *Closing) check(c *checker) {
	c.money("billed_e4", b.BilledE4)
	c.optionalDay("day", b.Day)
}

// Reopening takes a job up again after it was signed off or closed.
type Reopening struct {
	Reason string `json:"reason" doc:"Why the job goes on" minLength:"1" maxLength:"2000"`
	Day    Day    `json:"day,omitempty" doc:"Day of reopening, if not the day of the event"`
}

func (r *Reopening) check(c *checker) {
	c.text("reason", r.Reason, textMax)
	c.optionalDay("day", r.Day)
}
