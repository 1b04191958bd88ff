package handover

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/events"
	"daysheet/reports"
	papers "daysheet/reports/handover"
	"daysheet/services/httpd"
)

// paperBody is a paper in JSON.
type paperBody struct {
	Paper      string        `json:"paper" doc:"Kind of the paper"`
	Title      string        `json:"title"`
	Language   string        `json:"language" doc:"Language of the texts (BCP 47)"`
	Firm       string        `json:"firm" doc:"Name of the firm as customers read it"`
	Job        string        `json:"job"`
	AsOf       uint64        `json:"as_of" doc:"Position in the log of the last commit that all of this is made of"`
	Commits    uint64        `json:"commits" doc:"Commits of the job up to it"`
	Head       string        `json:"head" doc:"SHA-256 of the job's last commit as it is stored; it covers all before"`
	RecordedAt string        `json:"recorded_at" format:"date-time" doc:"When that commit was recorded"`
	Code       string        `json:"code" doc:"What the public page /check takes"`
	Currency   string        `json:"currency" doc:"ISO 4217 code of the amounts of money"`
	Missing    int           `json:"missing" doc:"How many records are missing"`
	Sections   []sectionBody `json:"sections"`
}

type sectionBody struct {
	Name    string      `json:"name"`
	Title   string      `json:"title"`
	Facts   []factBody  `json:"facts"`
	Says    []string    `json:"says" doc:"What the records say, in sentences"`
	Strips  []stripBody `json:"strips" doc:"Days on which each kind of work was recorded"`
	Tables  []tableBody `json:"tables"`
	Photos  []photoBody `json:"photos"`
	Signed  []signBody  `json:"signed" doc:"Signatures"`
	Missing []string    `json:"missing" doc:"What should be recorded and is not"`
	Sign    []string    `json:"sign" doc:"What is to be filled in by hand"`
}

type stripBody struct {
	Title string       `json:"title"`
	From  events.Day   `json:"from" doc:"First day of the time that all strips show"`
	To    events.Day   `json:"to" doc:"Last day of it"`
	Days  []events.Day `json:"days" doc:"Days on which something was recorded"`
}

type factBody struct {
	Term  string `json:"term"`
	Form  string `json:"form" doc:"How the value is to be read: text, day, money in ten-thousandths, minutes"`
	Value any    `json:"value" doc:"A text or a whole number"`
}

type tableBody struct {
	Name    string           `json:"name"`
	Title   string           `json:"title"`
	Columns []columnBody     `json:"columns" doc:"The members of each row, in the order in which they are shown"`
	Rows    []map[string]any `json:"rows" doc:"Texts, whole numbers, or null where there is none"`
}

type columnBody struct {
	Key   string `json:"key"`
	Title string `json:"title"`
	Form  string `json:"form"`
}

type photoBody struct {
	Photo   string `json:"photo" doc:"SHA-256 of the photo"`
	Caption string `json:"caption"`
	Day     string `json:"day"`
}

type signBody struct {
	Name    string `json:"name"`
	Day     string `json:"day"`
	Strokes string `json:"strokes,omitempty" doc:"As drawn: M x y and L x y in a field of 600 by 200; left out where the typed name is the signature"`
}

func bodyOf(p sheet, code string) paperBody {
	b := paperBody{
		Paper: string(p.Kind), Title: p.Title, Language: p.words.Language(), Firm: p.Firm, Job: p.Stamp.Job,
		AsOf:    p.Stamp.Position,
		Commits: p.Stamp.Commits, Head: p.Stamp.Head, RecordedAt: p.Stamp.RecordedAt.UTC().Format("2006-01-02T15:04:05.000Z"),
		Code: code, Currency: p.Names.Currency, Missing: p.Missing(), Sections: []sectionBody{},
	}
	for _, s := range p.Sections {
		section := sectionBody{
			Name: s.Name, Title: s.Title, Facts: []factBody{}, Strips: []stripBody{}, Tables: []tableBody{},
			Photos: []photoBody{}, Signed: []signBody{}, Says: append([]string{}, s.Says...),
			Missing: append([]string{}, s.Missing...), Sign: append([]string{}, s.Sign...),
		}
		for _, f := range s.Facts {
			section.Facts = append(section.Facts, factBody{f.Term, string(f.Form), valueOf(f.Cell, f.Form)})
		}
		for _, strip := range s.Strips {
			section.Strips = append(section.Strips, stripBody{strip.Title, strip.From, strip.End, strip.Days})
		}
		for _, t := range s.Tables {
			section.Tables = append(section.Tables, tableBodyOf(t))
		}
		for _, photo := range s.Photos {
			section.Photos = append(section.Photos, photoBody{photo.Digest, photo.Caption, string(photo.Day)})
		}
		for _, signed := range s.Signed {
			section.Signed = append(section.Signed, signBody{signed.Name, string(signed.Day), signed.Strokes})
		}
		b.Sections = append(b.Sections, section)
	}
	return b
}

// unitEnding ends the key of the unit that stands beside a quantity.
const unitEnding = "_unit"

func tableBodyOf(t reports.Table) tableBody {
	b := tableBody{Name: t.Name, Title: t.Title, Rows: []map[string]any{}}
	for _, c := range t.Columns {
		b.Columns = append(b.Columns, columnBody{c.Key, c.Title, string(c.Form)})
	}
	for _, cells := range t.Rows {
		row := map[string]any{}
		for i, c := range cells {
			row[t.Columns[i].Key] = valueOf(c, t.Columns[i].Form)
			if t.Columns[i].Form == reports.FormQuantity {
				row[t.Columns[i].Key+unitEnding] = string(c.Unit)
			}
		}
		b.Rows = append(b.Rows, row)
	}
	return b
}

// valueOf returns what a cell holds: a whole number, a text, or nil.
func valueOf(c reports.Cell, form reports.Form) any {
	switch {
	case c.Blank:
		return nil
	case form == reports.FormText || form == reports.FormDay || form == reports.FormName:
		return c.Text
	}
	return c.Number
}

// paperAsk is the input of an operation on a paper of a job.
type paperAsk struct {
	Job  string `path:"job" doc:"Key of the job"`
	AsOf string `query:"as_of" doc:"As it was known at this position in the log; 0 or nothing for now"`
}

type paperOut struct{ Body paperBody }

// paperOperation describes an operation that reads.
func paperOperation(id, path, summary, about string) huma.Operation {
	return huma.Operation{
		OperationID: id, Method: http.MethodGet, Path: path, Tags: []string{"papers"}, Summary: summary, Description: about,
		Metadata: map[string]any{"scope": httpd.ScopeRead},
		Errors: []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound, http.StatusUnprocessableEntity,
			http.StatusTooManyRequests},
	}
}

// mountAPI adds the papers for programs.
func (d *desk) mountAPI(server *httpd.Server) {
	op := paperOperation("get-handover", "/v1/jobs/{job}/handover", "Read the handover report",
		"What was protected, applied, found and put right on a job, made of the records that hold. Records that are missing "+
			"are listed. The same report is the page /jobs/{job}/handover and, signed, the PDF /jobs/{job}/handover.pdf.")
	huma.Register(server.API, op, func(ctx context.Context, in *paperAsk) (*paperOut, error) {
		asOf, err := position(in.AsOf)
		if err != nil {
			return nil, err
		}
		caller, _ := httpd.CallerFrom(ctx)
		p, err := d.paper(ctx, wanted{firm: caller.Firm, job: in.Job, kind: papers.KindHandover, asOf: asOf})
		if err != nil {
			return nil, err
		}
		key, err := d.Keys.Private(caller.Firm)
		if err != nil {
			return nil, err
		}
		return &paperOut{bodyOf(p, codeOf(p.Paper).text(key))}, nil
	})
}
