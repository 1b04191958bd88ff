package reporting

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"strconv"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/texts"
)

// mountReports adds each report three times: by its name, answered by Accept,
// and with a suffix, for programs that can set an address only.
func (s *site) mountReports(api huma.API) {
	for _, d := range s.definitions {
		parameters := append([]*huma.Param{
			queryParam("job", "Only this job, whatever its state", text()),
			queryParam("job_type", "Only jobs of this type", text()),
			queryParam("from", "First day on which jobs were finished", day()),
			queryParam("to", "Last day on which jobs were finished", day()),
			asOfParam(),
			queryParam("table", "Table to answer with in CSV; the main one if not given", text()), valuesParam(),
		}, formatParams()...)
		op := operation("report-"+d.Name, "/v1/reports/"+d.Name, "reports", d.Title, d.About, parameters...)
		if d.Personal {
			op.Metadata["scope"] = httpd.Office
		}
		answers(api, &op, reportBody{})
		huma.Register(api, op, orPage(s.reportAnswer(d, "")))
		huma.Register(api, hide(op, inJSON), orPage(s.reportAnswer(d, inJSON)))
		huma.Register(api, hide(op, inCSV), orPage(s.reportAnswer(d, inCSV)))
	}
}

type answerer func(context.Context, *ask) (*huma.StreamResponse, error)

// reportAnswer returns the handler of a report.
func (s *site) reportAnswer(d reports.Definition, suffix medium) answerer {
	return func(ctx context.Context, in *ask) (*huma.StreamResponse, error) {
		p := in.params()
		m := mediumOf(p, suffix, in.Accept)
		filter := p.filter(firmOf(ctx))
		tableName, mark := p.text("table"), p.oneOf("bom", "1") != ""
		values := p.oneOf("values", valuesDecimal, valuesComma)
		if err := p.done(); err != nil {
			return nil, err
		}
		w := teller{}
		said := s.frame.Texts(texts.English)
		if m == inHTML { // the others are for programs
			var err error
			if w, err = s.teller(ctx, filter.Firm); err != nil {
				return nil, err
			}
			said = w.Texts
		}
		r, err := s.run(ctx, d, filter, said)
		if err != nil {
			return nil, err
		}
		out := output{medium: m}
		switch m {
		case inCSV:
			out.body, err = reportCSV(r, tableName, mark, values)
		case inHTML:
			out.body, err = s.reportHTML(ctx, in, d, filter, &r, w)
		default:
			out.body, err = reportJSON(r)
		}
		if err != nil {
			return nil, err
		}
		f := r.Filter
		out.file = fileName(d.Name, tableName, f.Job, f.JobType, string(s.today(r.Names)))
		if m != inHTML { // a page also changes with the program
			out.tag = entityTag(out.body)
		}
		return out.stream(in.Match), nil
	}
}

func reportJSON(r reports.Report) ([]byte, error) {
	body, err := newReportBody(r)
	if err != nil {
		return nil, err
	}
	raw, err := json.Marshal(body)
	if err != nil {
		return nil, fmt.Errorf("write report %s: %w", r.Name, err)
	}
	return raw, nil
}

func reportCSV(r reports.Report, tableName string, mark bool, values string) ([]byte, error) {
	t, err := pickTable(r, tableName)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	out := plain(t)
	if values != "" {
		out = inDecimals(t, r.Names.Currency, values)
	}
	err = writeCSV(&b, out, mark)
	return b.Bytes(), err
}

func (s *site) reportHTML(
	ctx context.Context, in *ask, d reports.Definition, asked reports.Filter, r *reports.Report, w teller,
) ([]byte, error) {
	v := visit{Context: ctx, Firm: asked.Firm, Values: in.url.Query()}
	p, err := s.reportPage(v, d, asked, r, w)
	if err != nil {
		return nil, err
	}
	return s.frame.Render(ctx, p, &in.url)
}

// mountExplain adds the facts behind figures.
func (s *site) mountExplain(api huma.API) {
	var parameters []*huma.Param
	for _, d := range reports.Dimensions() {
		list := &huma.Schema{Type: huma.TypeArray, Items: text()}
		explode := true
		parameters = append(parameters, &huma.Param{Name: string(d), In: "query", Schema: list, Explode: &explode,
			Description: "Only facts with one of these values; give the parameter once for each"})
	}
	parameters = append(parameters,
		queryParam("from", "First day of the work", day()), queryParam("to", "Last day of the work", day()),
		queryParam("finished_from", "Only of jobs finished on or after this day", day()),
		queryParam("finished_to", "Only of jobs finished on or before this day", day()),
		stateParam("Only of jobs that stand in one of these states; give it once for each"),
		queryParam("of", "The sum that the figure is", oneOf(measures()...)), asOfParam(), valuesParam())
	parameters = append(append(parameters, pageParams()...), formatParams()...)
	op := operation("explain", "/v1/explain", "reports", "What a figure is made of",
		"Lists the facts that a figure of a report is made of; their sum is the figure. Reports give the address of each "+
			"figure under \"explain\".", parameters...)
	answers(api, &op, explainBody{})
	huma.Register(api, op, orPage(s.explainAnswer))
}

// explainCSV writes facts in whole numbers, or in decimals.
func (s *site) explainCSV(ctx context.Context, firm string, answer explainBody, mark bool, values string) ([]byte,
	error) {
	var b bytes.Buffer
	out := answer.plain()
	if values != "" {
		names, err := s.deps.Names(ctx, firm)
		if err != nil {
			return nil, fmt.Errorf("read names: %w", err)
		}
		out = inDecimals(answer.table(), names.Currency, values)
	}
	err := writeCSV(&b, out, mark)
	return b.Bytes(), err
}

func (s *site) explainAnswer(ctx context.Context, in *ask) (*huma.StreamResponse, error) {
	p, firm := in.params(), firmOf(ctx)
	m := mediumOf(p, "", in.Accept)
	mark, values := p.oneOf("bom", "1") != "", p.oneOf("values", valuesDecimal, valuesComma)
	answer, err := s.explain(ctx, firm, in.url.Path, p)
	if err != nil {
		return nil, err
	}
	out := output{medium: m, next: answer.Next, file: fileName("facts", "position", strconv.FormatUint(answer.AsOf, 10))}
	switch m {
	case inCSV:
		out.body, err = s.explainCSV(ctx, firm, answer, mark, values)
	case inHTML:
		var shown page
		if shown, err = s.explainPage(visit{Context: ctx, Firm: firm, Values: in.url.Query()}, answer); err == nil {
			out.body, err = s.frame.Render(ctx, shown, &in.url)
		}
	default:
		out.body, err = json.Marshal(answer)
	}
	if err != nil {
		return nil, fmt.Errorf("write facts: %w", err)
	}
	if m != inHTML {
		out.tag = entityTag(out.body)
	}
	return out.stream(in.Match), nil
}
