package reporting

func (s *site) showHelp(visit) (page, error) {
	return page{
		name: helpPage, Title: "How to read the ledger",
		Crumbs: []link{{Text: "Jobs", Address: "/"}, {Text: "Help"}},
		Body: []fact{
			{"Estimated hours and cost", "An estimate issued for the job, with its lines of work and its consumables."},
			{"Actual hours and labour cost", "Hours booked by each person, day by day and task by task, and what an hour " +
				"of each grade costs in the settings of the firm."},
			{"Consumables used", "Coats with the volume used, protection with the product consumed, and material used " +
				"for the rest."},
			{"Minutes for a unit of work", "Quantities with the work: area prepared, area coated, edges taped."},
			{"Protection still down", "Protection laid, and its lifting when it comes up."},
			{"Margin", "An estimate with its price, agreed variations, and at the end the closing with what was billed."},
			{"Finished jobs and job types", "The sign-off by the customer, or the closing."},
		},
	}, nil
}

func (s *site) showLicences(visit) (page, error) {
	return page{
		name: licencesPage, Title: "Licences", Crumbs: []link{{Text: "Jobs", Address: "/"}, {Text: "Licences"}},
		Body: s.assets.notices,
	}, nil
}
