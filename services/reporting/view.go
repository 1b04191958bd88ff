package reporting

import (
	"daysheet/reports"
	"daysheet/services/pages"
	"daysheet/services/wording"
)

// What pages are made of, by their short names.
type (
	page      = pages.Page
	visit     = pages.Visit
	link      = pages.Link
	fact      = pages.Fact
	choice    = pages.Choice
	tableView = pages.Table
	cellView  = pages.Cell
)

// The pages, by the file that holds their body.
const (
	boardPage    = "board.html"
	jobPage      = "job.html"
	reportPage   = "report.html"
	explainPage  = "explain.html"
	quotePage    = "quote.html"
	reportsPage  = "reports.html"
	helpPage     = "help.html"
	licencesPage = "licences.html"
)

// teller says what pages of this package say beyond the words that all share.
type teller struct{ wording.Words }

func newTeller(names reports.Names) teller { return teller{wording.NewWords(names)} }
