package reporting

import (
	"context"
	"fmt"

	"daysheet/services/pages"
	"daysheet/services/texts"
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
	recordsPage  = "records.html"
	reportPage   = "report.html"
	explainPage  = "explain.html"
	quotePage    = "quote.html"
	reportsPage  = "reports.html"
	helpPage     = "help.html"
	licencesPage = "licences.html"
)

// teller says what pages of this package say beyond the words that all share.
type teller struct{ wording.Words }

// teller reads the firm's names and returns who says pages in the firm's language.
func (s *site) teller(ctx context.Context, firm string) (teller, error) {
	names, err := s.deps.Names(ctx, firm)
	if err != nil {
		return teller{}, fmt.Errorf("read names: %w", err)
	}
	said := s.frame.Texts(names.Locale)
	if names, err = wording.InLanguage(names, said); err != nil {
		return teller{}, err
	}
	return teller{wording.NewWords(names, &texts.Speaker{Texts: said})}, nil
}
