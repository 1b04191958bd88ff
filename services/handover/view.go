package handover

import (
	"html/template"
	"strings"

	"daysheet/reports"
	"daysheet/services/pages"
	"daysheet/services/wording"
)

// view is a paper as the template shows it.
type view struct {
	Language string // of the paper
	Title    string
	Firm     string
	Missing  int
	Signs    string // signs that the font of the PDF lacks; empty where it has all
	Scripts  string // writing that the PDF may set wrongly; empty where there is none
	Sections []sectionView
	Proof    proofView
	Files    []pages.Link // beside the paper; none in the PDF
	Others   []pages.Link // papers of single variations and days; none in the PDF
	Sheet    string       // address of the style sheet; empty in the PDF
}

type sectionView struct {
	ID, Title string
	Facts     []pages.Fact
	Says      []string
	Strips    []stripView
	Tables    []pages.Table
	Photos    [][]photoView // in rows
	Signed    []signedView
	Missing   []string
	Sign      []string
	Short     bool // it has no table and no photo, and stays on one sheet
}

type photoView struct {
	Source  template.URL
	Caption string
	Day     string
	Lacks   bool // it cannot be shown
}

// signedView is a signature.
type signedView struct {
	Name, Day string
	Drawn     template.URL // the picture of it; empty where the typed name is the signature
}

// proofView says which records the paper was made of, and how to check it.
type proofView struct {
	Job, Head, Recorded, Key string
	Position, Commits        uint64
	Code                     string       // what the public page checks; empty where the paper has none
	Address                  string       // of the public page; empty where it is not known
	Lines                    []string     // the address, cut to be printed
	QR                       template.URL // empty where there is none
}

// lineMost is how much of an address fits beside a QR code.
const lineMost = 62

// cut cuts an address into lines.
func cut(address string) (lines []string) {
	for len(address) > lineMost {
		lines = append(lines, address[:lineMost])
		address = address[lineMost:]
	}
	return append(lines, address)
}

// photosInRow is how many photos stand side by side.
const photosInRow = 3

// newView lays a paper out. source returns the address of a photo, and ok where it
// can be shown.
func newView(p sheet, source func(digest string) (address string, ok bool)) view {
	f := p.words.Format
	v := view{Language: p.words.Language(), Title: p.Title, Firm: p.Firm, Missing: p.Missing(), Proof: proofView{
		Job: p.Stamp.Job, Head: p.Stamp.Head, Position: p.Stamp.Position, Commits: p.Stamp.Commits,
		Recorded: p.words.moment(p.Stamp.RecordedAt),
	}}
	for _, s := range p.Sections {
		section := sectionView{ID: s.Name, Title: s.Title, Says: s.Says, Missing: s.Missing, Sign: s.Sign}
		for _, fact := range s.Facts {
			value := f.Cell(fact.Cell, fact.Form)
			if fact.Form == reports.FormMoney {
				value = wording.WithUnit(value, f.Currency)
			}
			section.Facts = append(section.Facts, pages.Fact{Text: fact.Term, Value: value})
		}
		section.Strips = stripsOf(s.Strips, p.words)
		for _, t := range s.Tables {
			section.Tables = append(section.Tables, tableOf(s.Name, t, f))
		}
		for _, signature := range s.Signed {
			section.Signed = append(section.Signed, signedView{signature.Name, f.Day(signature.Day), drawn(signature.Strokes)})
		}
		section.Short = len(s.Tables)+len(s.Photos)+len(s.Strips) == 0
		for i, photo := range s.Photos {
			if i%photosInRow == 0 {
				section.Photos = append(section.Photos, nil)
			}
			address, ok := source(photo.Digest)
			row := &section.Photos[len(section.Photos)-1]
			*row = append(*row, photoView{template.URL(address), photo.Caption, f.Day(photo.Day), !ok})
		}
		v.Sections = append(v.Sections, section)
	}
	return v
}

// tableOf lays a table out.
func tableOf(prefix string, t reports.Table, f wording.Format) pages.Table {
	shown := pages.Table{ID: prefix + "-" + strings.ReplaceAll(t.Name, "_", "-"), Title: t.Title,
		Cards: true}
	number := func(form reports.Form) bool {
		return form != reports.FormText && form != reports.FormDay && form != reports.FormName
	}
	for _, c := range t.Columns {
		shown.Columns = append(shown.Columns, pages.Column{Title: c.Title, Number: number(c.Form)})
	}
	for _, cells := range t.Rows {
		var row []pages.Cell
		for i, c := range cells {
			form := t.Columns[i].Form
			cell := pages.Cell{Text: f.Cell(c, form), Number: number(form), Head: i == 0}
			if form == reports.FormDay {
				cell.Text = strings.ReplaceAll(cell.Text, " ", "\u00a0") // not over two lines
			}
			cell.Blank = cell.Text == ""
			row = append(row, cell)
		}
		shown.Rows = append(shown.Rows, pages.Row{Cells: row})
	}
	return shown
}
