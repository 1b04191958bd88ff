package events

// Damage is damage that came to light during the job.
type Damage struct {
	Location string   `json:"location" doc:"Room or part of the building" minLength:"1" maxLength:"120"`
	Item     string   `json:"item" doc:"What is damaged" minLength:"1" maxLength:"120"`
	Finding  string   `json:"finding" doc:"What was seen" minLength:"1" maxLength:"2000"`
	Cause    string   `json:"cause" doc:"Whose it is, as far as known" enum:"ours,others,before,unknown"`
	Task     string   `json:"task,omitempty" doc:"Protection task that should have prevented it"`
	CostE4   int64    `json:"cost_e4,omitempty" doc:"What putting it right is expected to cost beside booked hours and material" minimum:"0" maximum:"1000000000000"`
	Photos   []string `json:"photos,omitempty" doc:"SHA-256 of each photo" maxItems:"500" pattern:"^[0-9a-f]{64}$"`
	Day      Day      `json:"day,omitempty" doc:"Day it was found, if not the day of the event"`
}

func (d *Damage) check(c *checker) {
	c.text("location", d.Location, nameMax)
	c.text("item", d.Item, nameMax)
	c.text("finding", d.Finding, textMax)
	c.oneOf("cause", d.Cause, "ours", "others", "before", "unknown")
	c.optionalToken("task", d.Task)
	c.money("cost_e4", d.CostE4)
	c.digests("photos", d.Photos)
	c.optionalDay("day", d.Day)
}

// MakingGood is damage put right. CostE4 replaces the expected cost of the
// damage; hours and material are booked as such and not repeated here.
type MakingGood struct {
	Damage string   `json:"damage" doc:"Id of the damage found event" pattern:"^[A-Za-z0-9._-]{8,64}$"`
	Work   string   `json:"work" doc:"What was done" minLength:"1" maxLength:"2000"`
	CostE4 int64    `json:"cost_e4,omitempty" doc:"What it cost beside booked hours and material" minimum:"0" maximum:"1000000000000"`
	Photos []string `json:"photos,omitempty" doc:"SHA-256 of each photo" maxItems:"500" pattern:"^[0-9a-f]{64}$"`
	Day    Day      `json:"day,omitempty" doc:"Day it was put right, if not the day of the event"`
}

func (m *MakingGood) check(c *checker) {
	c.eventID("damage", m.Damage)
	c.text("work", m.Work, textMax)
	c.money("cost_e4", m.CostE4)
	c.digests("photos", m.Photos)
	c.optionalDay("day", m.Day)
}

// Snag is a minor fault to be cleared before handover.
type Snag struct {
	Location string   `json:"location" doc:"Room or part of the building" minLength:"1" maxLength:"120"`
	Finding  string   `json:"finding" doc:"What is not right yet" minLength:"1" maxLength:"2000"`
	RaisedBy string   `json:"raised_by" doc:"Who saw it" enum:"customer,firm"`
	Photos   []string `json:"photos,omitempty" doc:"SHA-256 of each photo" maxItems:"500" pattern:"^[0-9a-f]{64}$"`
	Day      Day      `json:"day,omitempty" doc:"Day it was raised, if not the day of the event"`
}

func (s *Snag) check(c *checker) {
	c.text("location", s.Location, nameMax)
	c.text("finding", s.Finding, textMax)
	c.oneOf("raised_by", s.RaisedBy, "customer", "firm")
	c.digests("photos", s.Photos)
	c.optionalDay("day", s.Day)
}

// SnagClearance is a snag put right.
type SnagClearance struct {
	Snag   string   `json:"snag" doc:"Id of the snag raised event" pattern:"^[A-Za-z0-9._-]{8,64}$"`
	Work   string   `json:"work,omitempty" doc:"What was done" maxLength:"2000"`
	Photos []string `json:"photos,omitempty" doc:"SHA-256 of each photo" maxItems:"500" pattern:"^[0-9a-f]{64}$"`
	Day    Day      `json:"day,omitempty" doc:"Day it was cleared, if not the day of the event"`
}

func (s *SnagClearance) check(c *checker) {
	c.eventID("snag", s.Snag)
	c.optionalText("work", s.Work, textMax)
	c.digests("photos", s.Photos)
	c.optionalDay("day", s.Day)
}

// Photo adds a photo to the job, or to one of its events.
type Photo struct {
	Photo   string `json:"photo" doc:"SHA-256 of the photo" pattern:"^[0-9a-f]{64}$"`
	Caption string `json:"caption,omitempty" doc:"What it shows" maxLength:"2000"`
	Of      string `json:"of,omitempty" doc:"Id of the event it belongs to" pattern:"^[A-Za-z0-9._-]{8,64}$"`
	Day     Day    `json:"day,omitempty" doc:"Day it was taken, if not the day of the event"`
}

func (p *Photo) check(c *checker) {
	c.digest("photo", p.Photo)
	c.optionalText("caption", p.Caption, textMax)
	if p.Of != "" {
		c.eventID("of", p.Of)
	}
	c.optionalDay("day", p.Day)
}

// Note is what somebody wants to have said about the job, or about one of its events.
// It is the firm's own: papers for the customer show it only where ForCustomer says so.
type Note struct {
	Text        string `json:"text" doc:"What is to be said" minLength:"1" maxLength:"2000"`
	Location    string `json:"location,omitempty" doc:"Room or part of the building" maxLength:"120"`
	Of          string `json:"of,omitempty" doc:"Id of the event it is about" pattern:"^[A-Za-z0-9._-]{8,64}$"`
	ForCustomer bool   `json:"for_customer,omitempty" doc:"Papers for the customer show it"`
	Day         Day    `json:"day,omitempty" doc:"Day it is about, if not the day of the event"`
}

func (n *Note) check(c *checker) {
	c.text("text", n.Text, textMax)
	c.optionalText("location", n.Location, nameMax)
	if n.Of != "" {
		c.eventID("of", n.Of)
	}
	c.optionalDay("day", n.Day)
}

// Void takes an earlier event of the same job back. It cannot be voided itself:
// record the event again, with a new id, if the void was the mistake.
type Void struct {
	Event  string `json:"event" doc:"Id of the event that is taken back" pattern:"^[A-Za-z0-9._-]{8,64}$"`
	Reason string `json:"reason" doc:"Why" minLength:"1" maxLength:"2000"`
}

func (v *Void) check(c *checker) {
	c.eventID("event", v.Event)
	c.text("reason", v.Reason, textMax)
}
