package reports

// Definitions returns every report in the order in which they are listed.
func Definitions() []Definition {
	var all []Definition
	for _, g := range []struct {
		name string
		of   []Definition
	}{{"Cost and margin", ofMoney()}, {"Material, protection and coats", ofMaterial()}, {"Rates and quotes", ofRates()}} {
		for _, d := range g.of {
			d.Group = g.name
			all = append(all, d)
		}
	}
	return all
}

// ofMoney are the reports on hours, cost and margin.
func ofMoney() []Definition {
	return []Definition{
		{
			Name: "job-summary", Title: "Job summary",
			About: "Estimated and actual hours, cost, price and margin of one job, or one line for each job " +
				"finished in a period.",
			Ask: askJobSummary, Make: makeJobSummary,
		},
		{
			Name: "estimate-vs-actual", Title: "Estimate against actual",
			About: "Planned and actual quantity, hours and minutes for each unit of work, task by task.",
			Ask:   askEstimateVsActual, Make: makeEstimateVsActual,
		},
		{
			Name: "job-types", Title: "Job types", Compares: true,
			About: "Hours, cost, price and margin of finished jobs by job type, with the jobs that lost money.",
			Ask:   askJobTypes, Make: makeJobTypes,
		},
		{
			Name: "job-costing", Title: "Job costing", NeedsJob: true,
			About: "One job's cost by labour, material, damage and overhead, its price, margin and mark-up, what is in " +
				"progress, and what it will cost in the end.",
			Ask: askJobCosting, Make: makeJobCosting,
		},
		{
			Name: "cost-differences", Title: "Why the cost differs",
			About: "Each line's difference between budget and actual cost, split into quantity, efficiency and price, " +
				"and the way from the estimated to the actual margin.",
			Ask: askWhy, Make: makeWhy,
		},
		{
			Name: "earned-value", Title: "Earned value", NeedsJob: true, Dated: true,
			About: "How much of a job's budget is earned by the work measured, what it cost, and what it will cost " +
				"in the end.",
			Ask: askEarnedValue, Make: makeEarnedValue,
		},
		{
			Name: "job-spread", Title: "Jobs compared", Compares: true,
			About: "How margins and hours of finished jobs spread within each job type, where the hours go, and margins by " +
				"customer, by who worked and by season.",
			Ask: askSpread, Make: makeSpread,
		},
		{
			Name: "hours-by-person", Title: "Hours by person", Personal: true,
			About: "Booked hours by person, task, job and grade, for the office alone: where somebody worked, not how well.",
			Ask:   askHoursByPerson, Make: makeHoursByPerson,
		},
	}
}

// ofMaterial are the reports on what is laid, applied, used and kept.
func ofMaterial() []Definition {
	return []Definition{
		{
			Name: "consumables", Title: "Consumables",
			About: "Planned and used quantity and cost of each product.",
			Ask:   askConsumables, Make: makeConsumables,
		},
		{
			Name: "protection", Title: "Protection down", Dated: true,
			About: "What is still down and where: covered detectors and lights first, then what was left on finished jobs " +
				"and what is past its last day for clean removal.",
			Ask: askProtection, Make: makeProtection,
		},
		{
			Name: "payback", Title: "Payback of protection", Compares: true,
			About: "Damage in rooms that were protected and in rooms that were left bare, what it costs, and whether " +
				"protection pays.",
			Ask: askPayback, Make: makePayback,
		},
		{
			Name: "coats", Title: "Coats and climate", NeedsJob: true,
			About: "Every coat with its readings: dew point, coverage and implied film, what was outside the limits of the " +
				"data sheet, and what could not be checked.",
			Ask: askCoats, Make: makeCoats,
		},
		{
			Name: "material-use", Title: "Use of material",
			About: "What each product is used for one unit of work against the plan, and what sheets and boards cost each " +
				"time they are laid.",
			Ask: askMaterialUse, Make: makeMaterialUse,
		},
		{
			Name: "stock", Title: "Stock and buying", WholeFirm: true,
			About: "Stock by product and place at moving average cost, what jobs under way still need, what to buy in whole " +
				"packs, and how prices moved.",
			Ask: askStock, Make: makeStock,
		},
	}
}

// DefinitionOf returns the report with the given name.
func DefinitionOf(name string) (Definition, bool) {
	for _, d := range Definitions() {
		if d.Name == name {
			return d, true
		}
	}
	return Definition{}, false
}

// ofRates are the reports on what quotes are priced from.
func ofRates() []Definition {
	return []Definition{
		{
			Name: "rates", Title: "Quote rates from history", Compares: true, Dated: true,
			About: "What one unit of each kind of work took on finished jobs, in time and in consumables, blended with " +
				"similar work, against the rate book, with its interval and the reason in one sentence.",
			Ask: askRatesOfAll, Make: makeRates,
		},
		{
			Name: "rate-proposals", Title: "Proposed rates", Compares: true, Dated: true,
			About: "Rates that the firm's own jobs propose in place of the book's, with the evidence.",
			Ask:   askRates, Make: makeRateProposals,
		},
		{
			Name: "backtest", Title: "Backtest of rates", Compares: true,
			About: "Every finished job quoted again from the jobs before it: book against tuned rates, and promises against " +
				"what was kept.",
			Ask: askRates, Make: makeBacktest,
		},
		{
			Name: "rate-drift", Title: "Drift of rates", Compares: true, Dated: true,
			About: "Tasks that no longer take what history says, with control charts, and what practice, size and crew do.",
			Ask:   askRates, Make: makeDrift,
		},
	}
}
