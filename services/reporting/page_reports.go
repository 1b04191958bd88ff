package reporting

// reportGroup is reports that are listed together.
type reportGroup struct {
	Title   string
	Reports []reportEntry
}

type reportEntry struct {
	Title, Address, About string
	NeedsJob              bool
}

// showReports lists every report with what it answers.
func (s *site) showReports(v visit) (page, error) {
	p := readParams(v.Values)
	if err := p.done(); err != nil {
		return page{}, err
	}
	var groups []reportGroup
	for _, d := range s.definitions {
		if len(groups) == 0 || groups[len(groups)-1].Title != d.Group {
			groups = append(groups, reportGroup{Title: d.Group})
		}
		g := &groups[len(groups)-1]
		g.Reports = append(g.Reports, reportEntry{d.Title, "/reports/" + d.Name, d.About, d.NeedsJob})
	}
	return page{
		Name: reportsPage, Title: "Reports", Crumbs: []link{{Text: "Jobs", Address: "/"}, {Text: "Reports"}}, Body: groups,
	}, nil
}
