package reporting

import "daysheet/events"

// tell records an invented history of the firm "north": a stairwell that went
// over its hours and was closed, a flat that runs with protection past its day,
// a front that lost money, one job that is only opened, and one job of the firm
// "south" with the key of one of north's.
func tell(s *stack) {
	s.settle("north")
	s.settle("south")
	s.stairwell()
	s.flat()
	s.front()
	s.record("north", "hall-4", s.act(events.JobOpened, "2026-06-25", events.Opening{JobType: "occupied",
		Title: "Hall and landing"}))
	s.record("south", "hall-4", s.act(events.JobOpened, "2026-06-01", events.Opening{JobType: "occupied",
		Title: "Secret of the south"}))
	s.record("south", "south-only", s.act(events.JobOpened, "2026-06-01", events.Opening{JobType: "occupied",
		Title: "Another secret"}),
		s.act(events.HoursBooked, "2026-06-02", events.Hours{Person: "una", Task: "coat", Minutes: 333}))
}

// settle records what a firm works with. Every name and price is invented.
func (s *stack) settle(firm string) {
	s.record(firm, events.FirmJob,
		s.act(events.FirmSettingsChanged, "2026-01-02", events.Settings{
			Name: "Invented Decorators", Currency: "EUR", TimeZone: "Europe/Vienna", Locale: "en-IE",
			JobTypes: []events.JobType{{JobType: "stairwell", Name: "Stairwell and joinery"},
				{JobType: "occupied", Name: "Occupied redecoration"}, {JobType: "exterior", Name: "Exterior"}},
			Grades: []events.Grade{{Grade: "painter", CostPerHourE4: 384500}, {Grade: "apprentice", CostPerHourE4: 211000}},
			Tasks: []events.FirmTask{{Task: "paper-strip", Family: events.FamilyPreparation, Unit: events.SquareMetre,
				Name: "Strip paper"}},
			People: []events.FirmPerson{{Person: "una", Name: "Una", Grade: "painter"}, {Person: "bo", Name: "Bo",
				Grade: "apprentice"}},
		}),
		s.act(events.ProductListed, "2026-01-02", events.Product{Product: "wall-matt", Name: "Wall paint, matt",
			Unit: events.Litre, PriceE4: 97300}),
		s.act(events.ProductListed, "2026-01-02", events.Product{Product: "board", Name: "Floor board, reusable",
			Unit: events.Sheet, PriceE4: 41200}),
		s.act(events.ProductListed, "2026-01-02", events.Product{Product: "tape", Name: "=Tape, 30 mm",
			Unit: events.Roll, PriceE4: 33700}),
	)
	s.record(firm, events.FirmJob, s.act(events.MaterialPurchased, "2026-05-01",
		events.Purchase{Product: "wall-matt", QuantityMilli: 40_000, Unit: events.Litre, CostE4: 3_713_300,
			Supplier: "invented merchant"}))
}

func (s *stack) stairwell() {
	const job = "stair-1"
	estimate := s.act(events.EstimateIssued, "2026-05-04", events.Estimate{
		PriceE4: 24_800_000, Note: "two coats",
		Lines: []events.EstimateLine{
			{Task: "protect-floor", QuantityMilli: 38_500, Unit: events.SquareMetre, Minutes: 150, Grade: "apprentice"},
			{Task: "mask-edge", QuantityMilli: 64_000, Unit: events.Metre, Minutes: 130, Grade: "apprentice"},
			{Task: "fill", QuantityMilli: 12_000, Unit: events.SquareMetre, Minutes: 240, Grade: "painter"},
			{Task: "coat", Surface: "wall", Method: "roller", QuantityMilli: 210_000, Unit: events.SquareMetre,
				Minutes: 1260, Grade: "painter"},
			{Task: "clean", Minutes: 60, Grade: "apprentice"},
		},
		Materials: []events.EstimateMaterial{
			{Product: "wall-matt", Task: "coat", QuantityMilli: 30_000, Unit: events.Litre},
			{Product: "tape", Task: "mask-edge", QuantityMilli: 4_000, Unit: events.Roll},
		},
	})
	s.record("north", job,
		s.act(events.JobOpened, "2026-05-01", events.Opening{JobType: "stairwell", Title: "Stairwell, two floors",
			Customer: "customer-17", Built: 1962, Due: "2026-05-29"}),
		estimate)
	s.record("north", job, s.act(events.EstimateAccepted, "2026-05-06", events.Acceptance{Estimate: estimate.ID}))
	s.record("north", job, s.act(events.ConditionRecorded, "2026-05-11", events.Condition{Location: "Ground floor",
		Item: "window board", Finding: "scratched at the left end", Damaged: true}))
	laid := s.act(events.ProtectionLaid, "2026-05-11", events.Protection{Task: "protect-floor", Surface: "floor",
		Location:      "Ground floor",
		QuantityMilli: 38_500, Unit: events.SquareMetre, Product: "board", ProductQuantityMilli: 2_000,
		ProductUnit: events.Sheet})
	wrong := s.act(events.HoursBooked, "2026-05-12", events.Hours{Person: "una", Task: "coat", Minutes: 960,
		Location: "Ground floor"})
	s.record("north", job, laid,
		s.act(events.HoursBooked, "2026-05-11", events.Hours{Person: "bo", Task: "protect-floor", Minutes: 185,
			Location: "Ground floor"}),
		s.act(events.HoursBooked, "2026-05-11", events.Hours{Person: "bo", Task: "mask-edge", Minutes: 140}),
		s.act(events.ProtectionLaid, "2026-05-11", events.Protection{Task: "mask-edge",
			Location: "Ground floor, doors", QuantityMilli: 61_000, Unit: events.Metre,
			Product: "tape", ProductQuantityMilli: 5_000, ProductUnit: events.Roll, RemoveBy: "2026-05-25"}),
		wrong)
	s.record("north", job,
		s.act(events.EventVoided, "2026-05-12", events.Void{Event: wrong.ID, Reason: "booked twice the hours"}),
		s.act(events.HoursBooked, "2026-05-12", events.Hours{Person: "una", Task: "coat", Minutes: 480,
			Location: "Ground floor"}),
		s.act(events.SurfacePrepared, "2026-05-12", events.Preparation{Task: "fill", Surface: "wall",
			QuantityMilli: 15_250, Unit: events.SquareMetre}),
		s.act(events.HoursBooked, "2026-05-12", events.Hours{Person: "una", Task: "fill", Minutes: 325}))
	s.record("north", job, s.act(events.VariationAgreed, "2026-05-13",
		events.Variation{Reason: "cellar door as well, asked for by the owner", PriceE4: 1_650_000,
			Lines: []events.EstimateLine{{Task: "coat-door", QuantityMilli: 1_000, Unit: events.Each, Minutes: 95,
				Grade: "painter"}}}))
	s.finishStairwell(job, laid)
}

func (s *stack) finishStairwell(job string, laid events.Event) {
	damage := s.act(events.DamageFound, "2026-05-14", events.Damage{Location: "First floor", Item: "handrail",
		Finding: "paint on the wood", Cause: "ours", CostE4: 800_000})
	snag := s.act(events.SnagRaised, "2026-05-18", events.Snag{Location: "First floor",
		Finding: "edge above the door not straight", RaisedBy: "customer"})
	s.record("north", job,
		s.act(events.CoatApplied, "2026-05-13", events.Coat{Task: "coat", Surface: "wall", Method: "roller",
			Location: "Ground floor", Coat: 1,
			QuantityMilli: 105_000, Unit: events.SquareMetre, Product: "wall-matt", VolumeMilli: 16_400, Batch: "B-2207",
			AirCelsiusMilli: milli(19_000), SurfaceCelsiusMilli: milli(17_500), HumidityPercentMilli: milli(55_000)}),
		s.act(events.CoatApplied, "2026-05-15", events.Coat{Task: "coat", Surface: "wall", Method: "roller",
			Location: "Ground floor", Coat: 2,
			QuantityMilli: 105_000, Unit: events.SquareMetre, Product: "wall-matt", VolumeMilli: 14_900}),
		s.act(events.HoursBooked, "2026-05-13", events.Hours{Person: "una", Task: "coat", Minutes: 540}),
		s.act(events.HoursBooked, "2026-05-15", events.Hours{Person: "una", Task: "coat", Minutes: 505}),
		s.act(events.HoursBooked, "2026-05-15", events.Hours{Person: "bo", Task: "coat-door", Minutes: 80}),
		damage, snag,
		s.act(events.MaterialUsed, "2026-05-14", events.Usage{Product: "filler", QuantityMilli: 3_000,
			Unit: events.Kilogram, Task: "fill"}),
		s.act(events.MaterialUsed, "2026-05-14", events.Usage{Product: "tape", QuantityMilli: 2_000, Unit: events.Roll}),
		s.act(events.MaterialReturned, "2026-05-19", events.Return{Product: "tape", QuantityMilli: 1_000,
			Unit: events.Roll}))
	s.record("north", job,
		s.act(events.DamageMadeGood, "2026-05-19", events.MakingGood{Damage: damage.ID, Work: "sanded and oiled",
			CostE4: 350_000}),
		s.act(events.ProtectionLifted, "2026-05-19", events.Lifting{Laid: laid.ID}),
		s.act(events.HoursBooked, "2026-05-19", events.Hours{Person: "bo", Task: "clean", Minutes: 75}),
		s.act(events.JobSignedOff, "2026-05-20", events.SignOff{Role: "owner"}))
	s.record("north", job,
		s.act(events.HoursBooked, "2026-05-21", events.Hours{Person: "una", Task: "snag", Minutes: 45}),
		s.act(events.JobClosed, "2026-05-29", events.Closing{BilledE4: 26_450_000}))
}

func (s *stack) flat() {
	const job = "flat-2"
	s.record("north", job,
		s.act(events.JobOpened, "2026-06-08", events.Opening{JobType: "occupied", Title: "Flat, four rooms, in use",
			Due: "2026-07-10"}),
		s.act(events.EstimateIssued, "2026-06-08", events.Estimate{PriceE4: 18_000_000, Lines: []events.EstimateLine{
			{Task: "protect-floor", QuantityMilli: 60_000, Unit: events.SquareMetre, Minutes: 240, Grade: "apprentice"},
			{Task: "coat", QuantityMilli: 180_000, Unit: events.SquareMetre, Minutes: 1080, Grade: "painter"}}}))
	s.record("north", job,
		s.act(events.ProtectionLaid, "2026-06-15", events.Protection{Task: "mask-edge", Surface: "window-frame",
			Location: "Kitchen", QuantityMilli: 18_400,
			Unit: events.Metre, Product: "tape", ProductQuantityMilli: 1_000, ProductUnit: events.Roll, RemoveBy: "2026-06-22"}),
		s.act(events.ProtectionLaid, "2026-06-15", events.Protection{Task: "protect-socket-switch",
			Location: "Kitchen", QuantityMilli: 7_000, Unit: events.Each}),
		s.act(events.HoursBooked, "2026-06-15", events.Hours{Person: "bo", Task: "mask-edge", Minutes: 125,
			Location: "Kitchen"}),
		s.act(events.HoursBooked, "2026-06-16", events.Hours{Person: "una", Task: "coat", Minutes: 395,
			Location: "<script>alert(1)</script>"}),
		s.act(events.SnagRaised, "2026-06-17", events.Snag{Location: "Kitchen", Finding: "run on the door frame",
			RaisedBy: "firm"}))
}

func (s *stack) front() {
	const job = "front-3"
	estimate := s.act(events.EstimateIssued, "2026-04-01", events.Estimate{PriceE4: 4_000_000,
		Lines: []events.EstimateLine{
			{Task: "wash", QuantityMilli: 80_000, Unit: events.SquareMetre, Minutes: 300, Grade: "apprentice"}}})
	s.record("north", job, s.act(events.JobOpened, "2026-04-01", events.Opening{JobType: "exterior",
		Title: "Front to the street"}), estimate)
	s.record("north", job, s.act(events.EstimateAccepted, "2026-04-02", events.Acceptance{Estimate: estimate.ID}),
		s.act(events.HoursBooked, "2026-04-14", events.Hours{Person: "stranger", Grade: "painter", Task: "rope-access",
			Minutes: 1200}),
		s.act(events.HoursBooked, "2026-04-15", events.Hours{Person: "bo", Task: "wash", Minutes: 410}),
		s.act(events.SurfacePrepared, "2026-04-15", events.Preparation{Task: "wash", QuantityMilli: 81_000,
			Unit: events.SquareMetre}),
		s.act(events.JobSignedOff, "2026-04-20", events.SignOff{Role: "site manager"}))
}

func milli(n int64) *int64 { return &n }
