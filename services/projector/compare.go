package projector

import (
	"cmp"
	"context"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
)

// Sizes of pages when two stores are compared.
const (
	linesPage   = 20_000
	jobsPage    = 1_000
	commitsPage = 500
)

// pages reads rows page by page.
type pages[T any] struct {
	// fetch returns the rows after the first seen ones, of which last is the
	// last. No rows, or a nil fetch, are the end.
	fetch func(seen int, last T) ([]T, error)
	page  []T
	seen  int
	last  T
}

// peek returns the row at hand; nil at the end.
func (p *pages[T]) peek() (*T, error) {
	if len(p.page) == 0 && p.fetch != nil {
		page, err := p.fetch(p.seen, p.last)
		if err != nil {
			return nil, err
		}
		if len(page) == 0 {
			p.fetch = nil
		}
		p.page = page
	}
	if len(p.page) == 0 {
		return nil, nil
	}
	return &p.page[0], nil
}

// drop goes on to the next row.
func (p *pages[T]) drop() {
	p.last = p.page[0]
	p.page = p.page[1:]
	p.seen++
}

// merge walks two lists of rows in the same order and calls differ with each
// pair that is not equal; a row that one side lacks is nil there.
func merge[T any](
	live, fresh *pages[T], order func(a, b T) int, equal func(a, b T) bool, differ func(live, fresh *T),
) (rows uint64, err error) {
	for {
		a, err := live.peek()
		if err != nil {
			return rows, err
		}
		b, err := fresh.peek()
		if err != nil {
			return rows, err
		}
		if a == nil && b == nil {
			return rows, nil
		}
		side := 0
		switch {
		case a == nil:
			side = 1
		case b == nil:
			side = -1
		default:
			side = order(*a, *b)
		}
		rows++
		switch {
		case side < 0:
			differ(a, nil)
		case side > 0:
			differ(nil, b)
		case !equal(*a, *b):
			differ(a, b)
		}
		if side <= 0 {
			live.drop()
		}
		if side >= 0 {
			fresh.drop()
		}
	}
}

// difference says in words how two rows differ; either may be nil.
func difference[T any](live, fresh *T) string {
	switch {
	case live == nil:
		return "the row is missing in the store"
	case fresh == nil:
		return "the store has a row that the log does not give"
	}
	var parts []string
	a, b := reflect.ValueOf(*live), reflect.ValueOf(*fresh)
	for i := range a.NumField() {
		if x, y := a.Field(i).Interface(), b.Field(i).Interface(); !reflect.DeepEqual(x, y) {
			parts = append(parts, fmt.Sprintf("%s is %v and must be %v", a.Type().Field(i).Name, x, y))
		}
	}
	return strings.Join(parts, ", ")
}

func archivePages(ctx context.Context, archive facts.Archive, partition uint8) *pages[events.Stored] {
	return &pages[events.Stored]{fetch: func(_ int, last events.Stored) ([]events.Stored, error) {
		return archive.Commits(ctx, partition, last.Sequence, commitsPage)
	}}
}

func (v *verification) compareSums(ctx context.Context, firm string, asOf uint64) error {
	sums := func(store facts.Store) *pages[reports.Total] {
		return &pages[reports.Total]{fetch: func(seen int, _ reports.Total) ([]reports.Total, error) {
			if seen > 0 {
				return nil, nil // sums come in one page
			}
			return store.Sum(ctx, reports.Query{Firm: firm, AsOf: asOf,
				By: []reports.Dimension{reports.ByJob, reports.BySide, reports.ByKind}})
		}}
	}
	order := func(a, b reports.Total) int { return slices.Compare(a.By, b.By) }
	equal := func(a, b reports.Total) bool { return reflect.DeepEqual(a, b) }
	_, err := merge(sums(v.live), sums(v.scratch), order, equal, func(live, fresh *reports.Total) {
		by := cmp.Or(live, fresh).By
		v.find("firm %s: sum of job %s, %s %s: %s", firm, by[0], by[1], by[2], difference(live, fresh))
	})
	return err
}

func (v *verification) compareLines(ctx context.Context, firm string, asOf uint64) error {
	lines := func(store facts.Store) *pages[reports.Fact] {
		return &pages[reports.Fact]{fetch: func(seen int, _ reports.Fact) ([]reports.Fact, error) {
			return store.Lines(ctx, reports.Query{Firm: firm, AsOf: asOf, Offset: seen, Limit: linesPage})
		}}
	}
	order := func(a, b reports.Fact) int {
		return cmp.Or(cmp.Compare(a.Sequence, b.Sequence), cmp.Compare(a.Line, b.Line))
	}
	equal := func(a, b reports.Fact) bool { return a == b }
	rows, err := merge(lines(v.live), lines(v.scratch), order, equal, func(live, fresh *reports.Fact) {
		at := cmp.Or(live, fresh)
		v.find("firm %s: job %s, sequence %d, line %d: %s", firm, at.Job, at.Sequence, at.Line, difference(live, fresh))
	})
	v.report.Facts += rows
	return err
}

func (v *verification) compareJobs(ctx context.Context, firm string, asOf uint64) error {
	jobs := func(store facts.Store) *pages[reports.JobRow] {
		return &pages[reports.JobRow]{fetch: func(_ int, last reports.JobRow) ([]reports.JobRow, error) {
			return store.Jobs(ctx, reports.JobQuery{Firm: firm, AsOf: asOf, After: last.Job, Limit: jobsPage})
		}}
	}
	order := func(a, b reports.JobRow) int { return cmp.Compare(a.Job, b.Job) }
	equal := func(a, b reports.JobRow) bool { return a == b }
	_, err := merge(jobs(v.live), jobs(v.scratch), order, equal, func(live, fresh *reports.JobRow) {
		v.find("firm %s: job %s: %s", firm, cmp.Or(live, fresh).Job, difference(live, fresh))
	})
	return err
}
