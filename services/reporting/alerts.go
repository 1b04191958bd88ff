package reporting

import (
	"cmp"
	"fmt"
	"slices"
	"sync"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// alert is a job that needs a look, with what about it does.
type alert struct {
	Title, Job, Address string
	About               []string

	danger bool // that somebody is hurt
}

// Limits of what the board looks for.
const (
	alertJobsMost = 200  // jobs that are looked at
	openKeptMost  = 5000 // jobs whose open points are kept
	// A job burns its hours too fast where it booked a tenth and two hours more than
	// it earned. Our own rule: less is noise of measuring.
	burntTenths, burntLeast = 11, 120
)

// openPoints is what a job's log leaves open, at its last commit.
type openPoints struct {
	sequence      uint64
	removeBy      []events.Day // of protection that is down, where it has a last day
	detectors     []covered
	snags, damage int
}

// covered is detectors that were covered on a day and are not free again.
type covered struct {
	day   events.Day
	milli int64
}

// before adds up the detectors that were covered before a day: over night at least.
func (o openPoints) before(day events.Day) (milli int64) {
	for _, d := range o.detectors {
		if d.day < day {
			milli += d.milli
		}
	}
	return milli
}

// openKept remembers open points of jobs, so that the board reads only the logs of
// jobs that changed. It is safe for concurrent use.
type openKept struct {
	mu   sync.Mutex
	jobs map[[2]string]openPoints // by firm and job
}

// open returns what is open on a job.
func (s *site) open(v visit, row reports.JobRow) (openPoints, error) {
	key := [2]string{v.Firm, row.Job}
	s.kept.mu.Lock()
	points, ok := s.kept.jobs[key]
	s.kept.mu.Unlock()
	if ok && points.sequence == row.Sequence {
		return points, nil
	}
	h, err := wording.ReadHistory(v, s.deps.Commits, v.Firm, row.Job, row.Sequence)
	if err != nil {
		return points, err
	}
	points = pointsOf(h, row.Sequence)
	s.kept.mu.Lock()
	defer s.kept.mu.Unlock()
	if s.kept.jobs == nil || len(s.kept.jobs) >= openKeptMost {
		s.kept.jobs = map[[2]string]openPoints{}
	}
	s.kept.jobs[key] = points
	return points, nil
}

// pointsOf finds what the history of a job leaves open.
func pointsOf(h *wording.History, sequence uint64) openPoints {
	points := openPoints{sequence: sequence, snags: len(h.Snags), damage: len(h.Damage)}
	for _, d := range h.Down {
		if d.Protection.RemoveBy != "" {
			points.removeBy = append(points.removeBy, d.Protection.RemoveBy)
		}
		if d.Protection.Task == reports.CoveredDetector {
			points.detectors = append(points.detectors, covered{d.Day(), d.LeftMilli})
		}
	}
	return points
}

// underWay are the states of the jobs that alerts are about.
func underWay() []events.State { return []events.State{events.Running, events.SignedOff} }

// alertsOf says what about a job needs a look, as the board does; nothing where it is not
// under way.
func (s *site) alertsOf(v visit, j *shownJob) ([]string, error) {
	r := j.read.Row
	if !slices.Contains(underWay(), r.State) {
		return nil, nil
	}
	coats, err := s.coatsOutside(v, jobReader{&j.read, s.deps.Store}, j.position, []reports.JobRow{r})
	if err != nil {
		return nil, err
	}
	return aboutJob(j.tell.Speaker, j.tell, r, pointsOf(j.history, r.Sequence), j.hours, coats[r.Job],
		s.today(j.tell.Names)), nil
}

// alerts lists the jobs under way, or signed off and not closed, that need a look:
// the most pressing first.
func (s *site) alerts(v visit, jobType string, position uint64, w teller, tell *texts.Speaker) ([]alert, error) {
	rows, err := s.deps.Store.Jobs(v, reports.JobQuery{Firm: v.Firm, JobType: jobType, AsOf: position,
		Limit:  alertJobsMost,
		States: underWay()})
	if err != nil {
		return nil, fmt.Errorf("list jobs under way: %w", err)
	}
	if len(rows) == 0 {
		return nil, nil
	}
	hours, err := s.hoursOf(v, s.deps.Store, position, rows)
	if err != nil {
		return nil, err
	}
	coats, err := s.coatsOutside(v, s.deps.Store, position, rows)
	if err != nil {
		return nil, err
	}
	var all []alert
	for _, r := range rows {
		points, err := s.open(v, r)
		if err != nil {
			return nil, err
		}
		today := s.today(w.Names)
		about := aboutJob(tell, w, r, points, hours[r.Job], coats[r.Job], today)
		if len(about) > 0 {
			all = append(all, alert{cmp.Or(r.Title, r.Job), r.Job, "/jobs/" + r.Job, about, points.before(today) > 0})
		}
	}
	slices.SortStableFunc(all, func(a, b alert) int {
		if a.danger != b.danger {
			return map[bool]int{true: -1, false: 1}[a.danger]
		}
		return len(b.About) - len(a.About)
	})
	return all, nil
}

// aboutJob says what about a job needs a look.
func aboutJob(tell *texts.Speaker, w teller, r reports.JobRow, open openPoints, hours reports.JobHours, coats int64,
	today events.Day) []string {
	var about []string
	count := func(key string, n int64) {
		if n > 0 {
			about = append(about, tell.Say(key, "count", w.Count(n)))
		}
	}
	if milli := open.before(today); milli > 0 {
		about = append(about, tell.Say("alert.detectors", "count", w.Thousandths(milli)))
	}
	past := int64(0)
	for _, by := range open.removeBy {
		if by < today {
			past++
		}
	}
	count("alert.protection", past)
	count("alert.coats", coats)
	count("alert.snags", int64(open.snags))
	count("alert.damage", int64(open.damage))
	if r.State == events.Running {
		switch over := hours.Booked - hours.Planned; {
		case hours.Planned > 0 && over > 0:
			about = append(about, tell.Say("alert.hours", "hours", w.Hours(over)))
		case hours.Measured && hours.Booked*10 > hours.Earned*burntTenths && hours.Booked-hours.Earned >= burntLeast:
			about = append(about, tell.Say("alert.burnt", "booked", w.Hours(hours.Booked), "earned", w.Hours(hours.Earned)))
		}
		if r.Due != "" && r.Due < today {
			about = append(about, tell.Say("alert.due", "day", w.Day(r.Due)))
		}
	}
	return about
}

// hoursOf asks how the labour of jobs stands.
func (s *site) hoursOf(
	v visit, store facts.Reader, position uint64, rows []reports.JobRow,
) (map[string]reports.JobHours, error) {
	var sums [][]reports.Total
	for _, q := range reports.HoursQueries(v.Firm, position, keysOf(rows)) {
		totals, err := store.Sum(v, q)
		if err != nil {
			return nil, fmt.Errorf("sum hours: %w", err)
		}
		sums = append(sums, totals)
	}
	return reports.HoursOf(sums), nil
}

// coatsOutside counts the coats of jobs that were applied outside their limits.
func (s *site) coatsOutside(v visit, store facts.Reader, position uint64, rows []reports.JobRow,
) (map[string]int64, error) {
	q := reports.Query{Firm: v.Firm, AsOf: position}.With(reports.ByKind, string(reports.KindMark)).
		With(reports.ByTask, string(reports.MarkCoatOutside)).With(reports.ByJob, keysOf(rows)...)
	q.By = []reports.Dimension{reports.ByJob}
	totals, err := store.Sum(v, q)
	if err != nil {
		return nil, fmt.Errorf("sum marks of coats: %w", err)
	}
	coats := map[string]int64{}
	for _, t := range totals {
		coats[t.By[0]] = t.Facts
	}
	return coats, nil
}

func keysOf(rows []reports.JobRow) []string {
	keys := make([]string, len(rows))
	for i, r := range rows {
		keys[i] = r.Job
	}
	return keys
}

// earnedWord says beside the hours booked what they have earned; nothing where there
// is nothing to earn by.
func earnedWord(tell *texts.Speaker, w teller, h reports.JobHours) string {
	if !h.Measured {
		return ""
	}
	return tell.Say("board.earned", "hours", w.Hours(h.Earned))
}

// hoursFact tells in the header of a job how its labour stands.
func (w teller) hoursFact(h reports.JobHours) []fact {
	if h.Planned == 0 && h.Booked == 0 {
		return nil
	}
	said := w.Say("job.hours.unplanned", "booked", w.Hours(h.Booked))
	if h.Planned > 0 {
		said = w.Say("job.hours.planned", "booked", w.Hours(h.Booked), "planned", w.Hours(h.Planned))
	}
	if h.Measured {
		said = wording.List(said, w.Say("job.hours.earned", "hours", w.Hours(h.Earned)))
	}
	return []fact{{Text: w.Say("job.hours"), Value: said}}
}
