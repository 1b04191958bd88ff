package reporting

func (s *site) showHelp(visit) (page, error) {
	return page{
		Name: helpPage, Title: "How to read the ledger",
		Crumbs: []link{{Text: "Jobs", Address: "/"}, {Text: "Help"}},
		Body: []fact{
			{Text: "Estimated hours and cost", Value: "An estimate issued for the job, with its lines of work and its " +
				"consumables."},
			{Text: "Actual hours and labour cost", Value: "Hours booked by each person, day by day and task by task, and " +
				"what an hour " +
				"of each grade costs in the settings of the firm."},
			{Text: "Consumables used", Value: "Coats with the volume used, protection with the product consumed, and " +
				"material used " +
				"for the rest."},
			{Text: "Minutes for a unit of work", Value: "Quantities with the work: area prepared, area coated, edges taped."},
			{Text: "Protection still down", Value: "Protection laid, and its lifting when it comes up."},
			{Text: "Margin", Value: "An estimate with its price, agreed variations, and at the end the closing with what was " +
				"billed."},
			{Text: "Finished jobs and job types", Value: "The sign-off by the customer, or the closing."},
		},
	}, nil
}

func (s *site) showLicences(visit) (page, error) {
	return page{
		Name: licencesPage, Title: "Licences", Crumbs: []link{{Text: "Jobs", Address: "/"}, {Text: "Licences"}},
		Body: s.notices,
	}, nil
}
