package reporting

import (
	"fmt"

	"daysheet/services/httpd"
	"daysheet/services/texts"
)

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
	names, err := s.deps.Names(v, v.Firm)
	if err != nil {
		return page{}, fmt.Errorf("read names: %w", err)
	}
	tell := &texts.Speaker{Texts: s.frame.Texts(names.Locale)}
	var groups []reportGroup
	last := ""
	for _, d := range s.definitions {
		if d.Personal && !v.Caller.May(httpd.Office) {
			continue
		}
		if d.Group != last {
			groups = append(groups, reportGroup{Title: tell.Say("report-group." + d.Group)})
			last = d.Group
		}
		g := &groups[len(groups)-1]
		g.Reports = append(g.Reports, reportEntry{
			tell.Say("report." + d.Name), "/reports/" + d.Name, tell.Say("report." + d.Name + ".about"), d.NeedsJob,
		})
	}
	title := tell.Say("nav.reports")
	return page{
		Name: reportsPage, Title: title, Crumbs: []link{{Text: tell.Say("nav.jobs"), Address: "/"}, {Text: title}},
		Body: groups, Texts: tell.Texts,
	}, tell.Err
}
