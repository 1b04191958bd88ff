package history

import (
	"cmp"
	"slices"
	"strconv"

	"daysheet/events"
	"daysheet/services/typed"
)

// reader sorts rows into jobs and keeps what they repeat from one another.
type reader struct {
	opts  Options
	plan  Plan
	heads heads

	jobs  map[string]*job
	order []*job
	last  row // the row above, with its blanks filled

	seen  map[entry]int // rows by what they say, with their line
	units map[string]unitSeen
	bad   map[int]bool // lines with errors
}

// unitSeen is the unit in which a product was met first.
type unitSeen struct {
	unit events.Unit
	line int // 0 if the firm listed it
}

// job is one job of the sheet.
type job struct {
	key, text, title, jobType string
	line                      int // of its first row
	entries                   []entry
}

// entry is what one row says. Equal entries are repeats of one another.
type entry struct {
	job  string
	kind kind
	day  events.Day

	task                      string
	family                    events.Family
	surface, method, location string
	coat                      int64
	milli                     int64
	unit                      events.Unit
	minutes                   int64
	person, grade             string
	product, productName      string
	costE4, unitPriceE4       int64
	priceE4                   int64
	note                      string

	line int // 0 while entries are compared
}

func newReader(opts Options, heads heads) *reader {
	r := &reader{
		opts: opts, heads: heads, jobs: map[string]*job{}, seen: map[entry]int{},
		units: map[string]unitSeen{}, bad: map[int]bool{},
	}
	for _, p := range opts.Products {
		r.units[p.Product] = unitSeen{unit: p.Unit}
	}
	return r
}

// refuse notes why a row cannot be taken.
func (r *reader) refuse(line int, c column, value, rule string) {
	r.refuseNamed(line, r.heads.of(columns[c].Name), value, rule)
}

func (r *reader) refuseNamed(line int, name, value, rule string) {
	r.plan.Errors = append(r.plan.Errors, RowError{Line: line, Column: name, Value: shorten(value), Rule: rule})
	r.bad[line] = true
}

func (r *reader) notice(line int, text string) {
	r.plan.Notices = append(r.plan.Notices, Notice{line, text})
}

// row takes in one row, or notes why it cannot.
func (r *reader) row(raw row) {
	r.fill(&raw)
	j := r.jobOf(raw)
	if j == nil {
		return
	}
	e := r.read(raw, j)
	if r.bad[raw.line] {
		return
	}
	if first, repeated := r.seen[e]; repeated {
		r.plan.Summary.Repeats++
		if !r.opts.KeepRepeats {
			r.notice(raw.line, "left out: it says exactly what line "+strconv.Itoa(first)+" says; keep it if both happened")
			return
		}
		r.notice(raw.line, "kept, although it says exactly what line "+strconv.Itoa(first)+" says")
	} else {
		r.seen[e] = raw.line
	}
	e.line = raw.line
	j.entries = append(j.entries, e)
}

// fill repeats what is blank from the row above.
func (r *reader) fill(raw *row) {
	carried := []column{colDate, colKind}
	above := &r.last.cells
	if raw.cells[colJob] == "" {
		raw.cells[colJob] = above[colJob]
	}
	if typed.Key(raw.cells[colJob]) == typed.Key(above[colJob]) {
		for _, c := range carried {
			raw.cells[c] = cmp.Or(raw.cells[c], above[c])
		}
	}
	r.last = *raw
}

// jobOf finds or starts the job of a row; nil where it names none.
func (r *reader) jobOf(raw row) *job {
	text := raw.cells[colJob]
	key := typed.Key(text)
	switch {
	case text == "":
		r.refuse(raw.line, colJob, "", "it must be given on the first row")
		return nil
	case !events.ValidToken(key):
		r.refuse(raw.line, colJob, text, "at least one letter or digit, and at most 64")
		return nil
	case key == events.FirmJob:
		r.refuse(raw.line, colJob, text, "this name is kept for the firm's own events")
		return nil
	}
	j := r.jobs[key]
	if j == nil {
		j = &job{key: key, text: text, line: raw.line}
		r.jobs[key] = j
		r.order = append(r.order, j)
	}
	if title := raw.cells[colTitle]; title != "" && j.title == "" {
		j.title = title
	} else if title != "" && title != j.title {
		r.notice(raw.line, "the job keeps its first title: "+shorten(j.title))
	}
	if text := raw.cells[colJobType]; text != "" {
		jobType := r.jobTypeNamed(text)
		switch {
		case !events.ValidToken(jobType):
			r.refuse(raw.line, colJobType, text, "at least one letter or digit, and at most 64")
		case j.jobType == "":
			j.jobType = jobType
		case j.jobType != jobType:
			r.refuse(raw.line, colJobType, text, "this job is of type "+j.jobType+" on an earlier row")
		}
	}
	return j
}

// jobTypeNamed returns the firm's job type of that key or name, else a key made
// of the name.
func (r *reader) jobTypeNamed(text string) string {
	if r.opts.Settings != nil {
		for _, t := range r.opts.Settings.JobTypes {
			if typed.Squeeze(t.JobType) == typed.Squeeze(text) || typed.Squeeze(t.Name) == typed.Squeeze(text) {
				return t.JobType
			}
		}
	}
	return typed.Key(text)
}

// finish turns the jobs into batches.
func (r *reader) finish() (Plan, error) {
	b := builder{reader: r, ids: newIDs(r.opts.Firm)}
	for _, j := range r.order {
		if j.jobType == "" {
			r.refuse(j.line, colJobType, "", "give it on one row of each job")
		}
		if j.jobType == "" || len(j.entries) == 0 {
			continue
		}
		if err := b.job(j); err != nil {
			return Plan{}, err
		}
	}
	if err := b.firm(); err != nil {
		return Plan{}, err
	}
	plan := r.plan
	slices.SortStableFunc(plan.Errors, func(a, b RowError) int { return a.Line - b.Line })
	slices.SortStableFunc(plan.Notices, func(a, b Notice) int { return a.Line - b.Line })
	plan.Summary.Bad = len(r.bad)
	if len(plan.Errors) == 0 || r.opts.SkipBad {
		plan.Batches = b.batches
	}
	return plan, nil
}
