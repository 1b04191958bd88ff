package reporting

import "daysheet/services/texts"

// showHelp says how pages are read, and what has to be recorded to see what.
func (s *site) showHelp(v visit) (page, error) {
	w, err := s.teller(v, v.Firm)
	if err != nil {
		return page{}, err
	}
	return page{
		Name: helpPage, Title: w.Say("help.title"), Texts: w.Texts,
		Crumbs: []link{{Text: w.Say("nav.jobs"), Address: "/"}, {Text: w.Say("nav.help")}},
		Body:   helpBody{Sees: whatToRecord(w.Speaker), Office: s.mayRecord(v)},
	}, w.Err
}

// helpBody is what the page of help shows beside its texts.
type helpBody struct {
	Sees   []fact
	Office bool // the reader may go to the office
}

// whatToRecord says what figures need.
func whatToRecord(say *texts.Speaker) []fact {
	return []fact{
		{Text: say.Say("help.see.estimate"), Value: say.Say("help.see.estimate.by")},
		{Text: say.Say("help.see.actual"), Value: say.Say("help.see.actual.by")},
		{Text: say.Say("help.see.material"), Value: say.Say("help.see.material.by")},
		{Text: say.Say("help.see.rate"), Value: say.Say("help.see.rate.by")},
		{Text: say.Say("help.see.protection"), Value: say.Say("help.see.protection.by")},
		{Text: say.Say("help.see.margin"), Value: say.Say("help.see.margin.by")},
		{Text: say.Say("help.see.finished"), Value: say.Say("help.see.finished.by")},
	}
}

func (s *site) showLicences(v visit) (page, error) {
	w, err := s.teller(v, v.Firm)
	if err != nil {
		return page{}, err
	}
	title := w.Say("frame.licences")
	return page{
		Name: licencesPage, Title: title, Texts: w.Texts,
		Crumbs: []link{{Text: w.Say("nav.jobs"), Address: "/"}, {Text: title}}, Body: s.notices,
	}, w.Err
}
