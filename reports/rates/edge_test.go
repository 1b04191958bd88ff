package rates

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"daysheet/events"
)

// large is a row so large that its logarithm against the book is y to six
// digits, although minutes are whole.
func large(job string, y float64) Sample {
	return Sample{Line: Line{Job: job, Task: "coat", Surface: "wall", Method: "roller", JobType: "office", Day: firstDay,
		QuantityMilli: 1_000_000_000, EventIDs: []string{"event-" + job}},
		Minutes: int64(math.Round(1e6 * math.Exp(y))), BookMinutesMilli: 1000}
}

func repeated(n int, y float64) (samples []Sample) {
	for i := range n {
		samples = append(samples, large(fmt.Sprintf("job-%02d", i), y))
	}
	return samples
}

func mustFit(t *testing.T, samples []Sample, o Options) *Fit {
	t.Helper()
	f, err := FitLabour(samples, firstDay+1000, o)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func mustPredict(t *testing.T, f *Fit, q Query) Prediction {
	t.Helper()
	p, err := f.Predict(q)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

var wall = Query{Task: "coat", Surface: "wall", Method: "roller", JobType: "office", QuantityMilli: 1_000_000, BookMinutesMilli: 1000}

// TestSmallFirms compares with a prototype written apart from this one (factors
// against the book at P50, P80 and P90, three decimals).
func TestSmallFirms(t *testing.T) {
	typo := large("job-99", .2)
	typo.Minutes *= 10
	unseen := wall
	unseen.Task = "prime"
	for _, test := range []struct {
		name    string
		samples []Sample
		q       Query
		want    [3]float64
	}{
		{"one row", repeated(1, .2), wall, [3]float64{1.156, 1.582, 1.903}},
		{"two equal", repeated(2, .2), wall, [3]float64{1.197, 1.503, 1.720}},
		{"ten equal", repeated(10, .2), wall, [3]float64{1.221, 1.318, 1.380}},
		{"nine equal and ten times", append(repeated(9, .2), typo), wall, [3]float64{1.224, 1.387, 1.496}},
		{"unseen task", repeated(10, .2), unseen, [3]float64{1.067, 1.543, 0}},
	} {
		p := mustPredict(t, mustFit(t, test.samples, Options{NoRecent: true}), test.q)
		for k, got := range []float64{p.Median, p.P80, p.P90} {
			if test.want[k] > 0 {
				near(t, fmt.Sprintf("%s: %d", test.name, k), got/p.Book, test.want[k], .0015)
			}
		}
	}
}

func TestNoHistoryQuotesTheBook(t *testing.T) {
	f := mustFit(t, nil, Options{})
	p := mustPredict(t, f, wall)
	sd := math.Sqrt(.09*5/3 + .25*.25*2 + .15*.15*3)
	near(t, "median", p.Median, 1000, 1e-9)
	near(t, "variance", p.Variance, sd*sd, 1e-12)
	if !(p.P10 < p.Median && p.Median < p.Expected && p.Expected < p.P80 && p.P80 < p.P90) || p.Level != 0 {
		t.Errorf("prediction is %+v", p)
	}
	e, err := f.Explain(wall)
	if err != nil || e.Recommended != 1000 || e.Book != 1000 || len(e.Steps) != 0 || !e.Thin ||
		e.Sentence != "No finished jobs yet: the rate is the book's." {
		t.Errorf("explanation is %+v, %v", e, err)
	}
	if f.Jobs != 0 || f.Learning("coat", "") != (Trend{PerDoubling: 1}) {
		t.Errorf("fit of nothing is %+v", f)
	}
}

func TestEqualRowsKeepASpread(t *testing.T) {
	for _, o := range []Options{{}, {PureSigma: true, PureGroups: true, FlatRoot: true}, {Nu: math.Inf(1), PureSigma: true}} {
		p := mustPredict(t, mustFit(t, repeated(12, 0), o), wall)
		if !(p.P90 > p.P10) || math.IsNaN(p.Median) || math.IsNaN(p.Expected) || math.IsInf(p.P90, 0) {
			t.Errorf("with %+v: %+v", o, p)
		}
	}
}

func TestRowsThatAreNoSamples(t *testing.T) {
	samples := repeated(3, .1)
	add := func(job string, quantity, minutes int64) {
		s := large(job, 0)
		s.QuantityMilli, s.Minutes = quantity, minutes
		samples = append(samples, s)
	}
	add("a-unmeasured", 0, 90)
	add("b-not-booked", 5000, 0)
	add("c-nothing", 0, 0)
	add("d-two-halves", 0, 1000)
	add("d-two-halves", 1_000_000, 0)
	f := mustFit(t, samples, Options{})
	if f.Rows != 4 || f.Jobs != 4 || len(f.Excluded) != 2 {
		t.Fatalf("%d rows of %d jobs, excluded %+v", f.Rows, f.Jobs, f.Excluded)
	}
	if e := f.Excluded[0]; e.Job != "a-unmeasured" || e.Reason != Unmeasured || e.Minutes != 90 {
		t.Errorf("excluded %+v", e)
	}
	if e := f.Excluded[1]; e.Job != "b-not-booked" || e.Reason != NotBooked || e.QuantityMilli != 5000 || e.EventIDs[0] != "event-b-not-booked" {
		t.Errorf("excluded %+v", e)
	}
}

// TestOneSampleForEachJobAndCell: two halves of a line weigh as one.
func TestOneSampleForEachJobAndCell(t *testing.T) {
	whole := repeated(4, .1)
	var halves []Sample
	for _, s := range whole {
		for k := range int64(2) {
			h := s
			h.QuantityMilli /= 2
			h.Minutes = s.Minutes/2 + k*(s.Minutes%2)
			h.EventIDs = []string{fmt.Sprintf("%s-%d", s.Job, k)}
			halves = append(halves, h)
		}
	}
	a, b := mustPredict(t, mustFit(t, whole, Options{}), wall), mustPredict(t, mustFit(t, halves, Options{}), wall)
	if a != b {
		t.Errorf("whole lines give %+v, halves %+v", a, b)
	}
}

func TestImpossibleAmountsAreRefused(t *testing.T) {
	bad := func(change func(*Sample)) error {
		s := repeated(2, 0)
		change(&s[1])
		_, err := FitLabour(s, firstDay, Options{})
		return err
	}
	for want, err := range map[string]error{
		"quantity_milli is -1":     bad(func(s *Sample) { s.QuantityMilli = -1 }),
		"minutes is -5":            bad(func(s *Sample) { s.Minutes = -5 }),
		"book_minutes_milli is -2": bad(func(s *Sample) { s.BookMinutesMilli = -2 }),
	} {
		var refused *events.Error
		if !errors.As(err, &refused) || refused.EventID != "event-job-01" || !strings.Contains(err.Error(), want) {
			t.Errorf("error is %v, not %s", err, want)
		}
	}
	for _, nu := range []float64{4, -1, math.NaN()} {
		if _, err := FitLabour(nil, 0, Options{Nu: nu}); events.CodeOf(err) != events.Invalid {
			t.Errorf("nu %v: error is %v", nu, err)
		}
	}
	f := mustFit(t, repeated(2, 0), Options{})
	for _, q := range []Query{{Task: "coat", QuantityMilli: -1}, {Task: "coat", BookMinutesMilli: -1}, {Task: "new", QuantityMilli: 1}} {
		if _, err := f.Predict(q); events.CodeOf(err) != events.Invalid {
			t.Errorf("%+v: error is %v", q, err)
		}
		if _, err := f.Total([]Query{q}); events.CodeOf(err) != events.Invalid {
			t.Errorf("%+v in a job: error is %v", q, err)
		}
	}
	if _, err := DayNumber("2026-02-30"); events.CodeOf(err) != events.Invalid {
		t.Errorf("error of a day that is none is %v", err)
	}
	if n, err := DayNumber("1970-01-31"); n != 30 || err != nil {
		t.Errorf("day is %d, %v", n, err)
	}
}

// TestSameBitsInAnyOrder: replay is exact.
func TestSameBitsInAnyOrder(t *testing.T) {
	history, _ := simulate(5, realistic)
	for _, o := range []Options{{}, {Crews: true, DriftWeight: true}} {
		first := mustFit(t, history, o)
		r := rand.New(rand.NewPCG(1, 2))
		for range 3 {
			shuffled := append([]Sample(nil), history...)
			r.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
			again := mustFit(t, shuffled, o)
			if !reflect.DeepEqual(first.core.nodes, again.core.nodes) || !reflect.DeepEqual(first.recent.nodes, again.recent.nodes) ||
				!reflect.DeepEqual(first.Crews, again.Crews) || !reflect.DeepEqual(first.Slips, again.Slips) ||
				first.Smear != again.Smear || first.JobSD != again.JobSD || first.LastEventID != again.LastEventID {
				t.Fatal("the order of samples changes the fit")
			}
		}
	}
}

func TestWhatIsLaterDoesNotCount(t *testing.T) {
	history, _ := simulate(6, clean)
	cut := firstDay + 500
	var before []Sample
	for _, s := range history {
		if s.Day <= cut {
			before = append(before, s)
		}
	}
	a, err := FitLabour(history, cut, Options{})
	if err != nil {
		t.Fatal(err)
	}
	b, err := FitLabour(before, cut, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(a.core.nodes, b.core.nodes) || a.LastEventID != b.LastEventID || a.LastDay > cut || a.Rows == 0 {
		t.Error("samples after the day changed the fit")
	}
}

func TestTaskWithoutABookRateIsItsOwnReference(t *testing.T) {
	samples := repeated(8, .3)
	for i := range samples {
		samples[i].BookMinutesMilli = 0
	}
	q := wall
	q.BookMinutesMilli = 0
	p := mustPredict(t, mustFit(t, samples, Options{}), q)
	near(t, "median per unit", p.PerUnit, math.Exp(.3), 1e-3)
	near(t, "reference", p.Book, 1000*math.Exp(.3), 1e-2)
}

// TestASlipDoesNoHarm: minutes typed as if they were hours.
func TestASlipDoesNoHarm(t *testing.T) {
	samples := repeated(20, .1)
	for i := range samples {
		samples[i].Minutes += int64(i) * 3000
	}
	clean := mustPredict(t, mustFit(t, samples, Options{}), wall)
	samples[7].Minutes /= 60
	f := mustFit(t, samples, Options{})
	p := mustPredict(t, f, wall)
	near(t, "median with the slip", p.Median/clean.Median, 1, .01)
	if len(f.Slips) != 1 || f.Slips[0].Job != "job-07" || f.Slips[0].Weight > .3 || f.Slips[0].Minutes != samples[7].Minutes ||
		math.Abs(f.Slips[0].Factor-1./60) > .002 {
		t.Errorf("slips are %+v", f.Slips)
	}
}

// cells returns every cell with history in the order of the tree, each as a
// query for one unit at its last book rate, to be predicted or explained.
func cells(f *Fit) []Query {
	var all []Query
	for leaf := range f.core.nodes[depth-1] {
		lo, hi := f.index.tree.span(depth-1, leaf)
		newest := lo
		for i := lo; i < hi; i++ {
			if f.index.rows[i].day >= f.index.rows[newest].day {
				newest = i
			}
		}
		s := f.index.first(&f.index.rows[newest])
		all = append(all, Query{Task: s.Task, Surface: s.Surface, Method: s.Method, JobType: s.JobType,
			QuantityMilli: 1000, BookMinutesMilli: s.BookMinutesMilli})
	}
	return all
}

func TestExplanationIsTheArithmetic(t *testing.T) {
	history, _ := simulate(8, clean)
	f := mustFit(t, history, Options{})
	for _, q := range cells(f) {
		e, err := f.Explain(q)
		if err != nil {
			t.Fatal(err)
		}
		if len(e.Steps) != depth || e.Unseen != 0 || e.Thin {
			t.Fatalf("explanation is %+v", e)
		}
		for l, s := range e.Steps {
			near(t, "estimate", math.Log(s.Estimate), s.Z*math.Log(s.Own)+(1-s.Z)*math.Log(s.Group), 1e-12)
			if l > 0 && (s.Group != e.Steps[l-1].Estimate || s.Jobs > e.Steps[l-1].Jobs || s.Jobs > s.Rows) || !(s.Low < s.Estimate && s.Estimate < s.High) {
				t.Errorf("step is %+v", s)
			}
		}
		if p := mustPredict(t, f, q); e.Recommended != MinutesMilli(p.PerUnit) || p.Level != LevelJobType {
			t.Errorf("recommended %d, predicted %v", e.Recommended, p.PerUnit)
		}
	}
	if top, err := f.Explain(cells(f)[0]); err != nil || top.Steps[0].Jobs != f.Jobs || top.Steps[0].Rows != f.Rows {
		t.Errorf("firm's step is %+v, %v", top.Steps[0], err)
	}
}

func TestSentences(t *testing.T) {
	f := mustFit(t, repeated(3, .2), Options{NoRecent: true})
	e, err := f.Explain(wall)
	if err != nil {
		t.Fatal(err)
	}
	s := e.Steps[LevelJobType]
	want := fmt.Sprintf("3 jobs of coat, wall, roller, office: on average 22 %% more than the book. It is trusted %.0f %%, the other "+
		"%.0f %% is coat, wall, roller, which takes %.0f %% more than the book. Together: %.0f %% more than the book.",
		100*s.Z, 100-math.Round(100*s.Z), 100*(s.Group-1), 100*(s.Estimate-1))
	if e.Sentence != want {
		t.Errorf("sentence is\n%s\nnot\n%s", e.Sentence, want)
	}
	q := wall
	q.Method, q.JobType = "spray", "office"
	if e, err = f.Explain(q); err != nil || e.Unseen != 2 || !strings.HasPrefix(e.Sentence,
		"No job yet of coat, wall, spray, office; the rate is that of coat, wall. 3 jobs of coat, wall: ") {
		t.Errorf("sentence is %q, %v", e.Sentence, err)
	}
}

func TestUnseenLevelsWiden(t *testing.T) {
	history, _ := simulate(9, clean)
	f := mustFit(t, history, Options{NoRecent: true})
	q := cells(f)[0]
	last := mustPredict(t, f, q).Variance
	for _, change := range []func(){func() { q.JobType = "new" }, func() { q.Method = "new" }, func() { q.Surface = "new" }} {
		change()
		p := mustPredict(t, f, q)
		if p.Variance <= last {
			t.Errorf("variance %v after %v for %+v", p.Variance, last, q)
		}
		last = p.Variance
	}
}

// TestJobTotal compares the sum of lognormal lines with 200,000 draws. Tolerance
// 1 %, twice the error of the approximation and the draws.
func TestJobTotal(t *testing.T) {
	means, variances := []float64{9, 4, 6, 2}, []float64{.09, .16, .04, .25}
	const shared, draws = .02, 200_000
	l := sumOfLognormals(means, variances, shared)
	r := rand.New(rand.NewPCG(3, 4))
	below := [2]int{}
	for range draws {
		job := math.Sqrt(shared) * r.NormFloat64()
		var sum float64
		for k, m := range means {
			sum += m * math.Exp(job+math.Sqrt(variances[k]-shared)*r.NormFloat64()-variances[k]/2)
		}
		below[0] += int(one(sum <= math.Exp(l.quantile(.8))))
		below[1] += int(one(sum <= math.Exp(l.quantile(.9))))
	}
	near(t, "share below P80", float64(below[0])/draws, .8, .01)
	near(t, "share below P90", float64(below[1])/draws, .9, .01)

	f := mustFit(t, repeated(10, .1), Options{})
	total, err := f.Total([]Query{wall, wall, wall})
	if err != nil {
		t.Fatal(err)
	}
	p := total.Lines[0]
	near(t, "expected", total.Expected, 3*p.Expected, 1e-9)
	if total.P80 >= 3*p.P80 || total.P80 <= total.Median || total.P90 <= total.P80 || total.P10 >= total.Median {
		t.Errorf("total is %+v", total)
	}
	nothing := wall
	nothing.QuantityMilli = 0
	for _, lines := range [][]Query{nil, {nothing, nothing}} {
		if total, err = f.Total(lines); err != nil || total.P90 != 0 || total.Expected != 0 {
			t.Errorf("nothing takes %+v, %v", total, err)
		}
	}
}

// TestJobEffectIsFound: .10 and one bad job in forty of +.5 are .127 in all.
func TestJobEffectIsFound(t *testing.T) {
	var plain, found float64
	for seed := uint64(1); seed <= 10; seed++ {
		a, _ := simulate(seed, clean)
		b, _ := simulate(seed, realistic)
		plain += mustFit(t, a, Options{}).JobSD / 10
		found += mustFit(t, b, Options{}).JobSD / 10
	}
	if plain > .05 || found < .09 || found > .19 {
		t.Errorf("job effect is %.3f where there is none and %.3f where it is .13", plain, found)
	}
}

func TestCrews(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	var samples []Sample
	for i := range 80 {
		s := large(fmt.Sprintf("job-%02d", i), .1*r.NormFloat64()+.1*float64(2*(i%2)-1))
		s.Crew = []string{"anna", "ben"}[i%2]
		samples = append(samples, s)
	}
	samples[0].Crew, samples[2].Crew, samples[4].Crew = "cleo", "cleo", ""
	f := mustFit(t, samples, Options{Crews: true})
	if len(f.Crews) != 3 || f.Crews[0].Crew != "anna" || f.Crews[1].Crew != "ben" || f.Crews[2].Enough || !f.Crews[0].Enough {
		t.Fatalf("crews are %+v", f.Crews)
	}
	near(t, "difference of crews", f.Crews[1].Effect-f.Crews[0].Effect, .2, .07)
	q := wall
	a := mustPredict(t, f, q)
	q.Crew = "ben"
	b := mustPredict(t, f, q)
	near(t, "ben against nobody", b.Mean-a.Mean, f.Crews[1].Effect, 1e-12)
	if z := f.Crews[2].Z; !(z > 0 && z < f.Crews[1].Z) {
		t.Errorf("the crew of two jobs is trusted %v", z)
	}
}

func TestSizeCheck(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	var samples []Sample
	for i := range 30 {
		s := large(fmt.Sprintf("job-%02d", i), 0)
		s.QuantityMilli = 1_000_000 * (1 + r.Int64N(200))
		s.Minutes = int64(math.Round(float64(s.QuantityMilli) / 1e3 * math.Pow(float64(s.QuantityMilli)/1e8, -.1)))
		samples = append(samples, s)
	}
	f := mustFit(t, samples, Options{})
	size := f.Size("coat")
	near(t, "slope", size.Slope, -.1, 1e-3)
	near(t, "factor of double the size", size.PerDoubling, .933, 1e-3) // 7 % less
	if !size.Clear || mustFit(t, samples[:7], Options{}).Size("coat").Clear {
		t.Errorf("size check is %+v; seven rows must not be enough", size)
	}
	if same := mustFit(t, repeated(9, .1), Options{}).Size("coat"); same.Clear || same.Slope != 0 {
		t.Errorf("size check of equal sizes is %+v", same)
	}
}

// TestConsumption checks the share of zeros by hand: 4 of 10 lines, firm share
// (1+4)/(2+10), two imaginary rows of it: (2 x 5/12 + 4)/(2 + 10).
func TestConsumption(t *testing.T) {
	var uses []Use
	for i := range 10 {
		u := Use{Product: "film", BookMilli: 1100, UsedMilli: 11_000 + int64(i)*100, Line: Line{Job: fmt.Sprintf("job-%d", i), Task: "mask",
			Day: firstDay + i, QuantityMilli: 10_000, EventIDs: []string{fmt.Sprintf("event-%d", i)}}}
		if i%3 == 0 {
			u.UsedMilli = 0
		}
		uses = append(uses, u)
	}
	f, err := FitUse(uses, firstDay+100, Options{})
	if err != nil {
		t.Fatal(err)
	}
	none := (2*5./12 + 4) / 12
	p, err := f.Predict("film", Query{Task: "mask", QuantityMilli: 20_000, BookMinutesMilli: 1100})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "share of zeros", p.None, none, 1e-12)
	near(t, "expected", p.Expected, (1-none)*p.Positive.Expected, 1e-12)
	near(t, "book", p.Positive.Book, 22, 1e-12)
	if !(p.Median > 0 && p.Median < p.Positive.Median && p.P80 < p.Positive.P80 && p.P80 < p.P90) || f.Positive.Rows != 6 {
		t.Errorf("prediction is %+v of %d rows", p, f.Positive.Rows)
	}
	near(t, "new product's share of zeros", f.None("tape", "mask").Mean(), 5./12, 1e-12)
	for i := range uses {
		uses[i].UsedMilli *= int64(i % 2)
	}
	if f, err = FitUse(uses, firstDay+100, Options{}); err != nil {
		t.Fatal(err)
	}
	if p, err = f.Predict("film", Query{Task: "mask", QuantityMilli: 20_000, BookMinutesMilli: 1100}); err != nil || p.Median != 0 || p.P80 == 0 {
		t.Errorf("prediction where most use nothing is %+v, %v", p, err)
	}
	uses[3].UsedMilli = -1
	if _, err = FitUse(uses, firstDay+100, Options{}); err == nil || !strings.Contains(err.Error(), "event event-3: used_milli is -1") {
		t.Errorf("error is %v", err)
	}
}

// TestPayback: own example, recomputed with R (numerical integral; closed form).
// Tolerance 5e-4 for the sum of 200 slices.
func TestPayback(t *testing.T) {
	p, err := NewPayback(Frequency{1, 50}, Exposure{Milli: 240_000, Events: 1}, Exposure{Milli: 60_000, Events: 4}, 3_800_000, 90_000)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "unprotected", p.Unprotected.Mean(), .04545, 5e-6)
	near(t, "protected", p.Protected.Mean(), .00690, 5e-6)
	near(t, "saved", float64(p.SavedE4), 146_500, 50)
	near(t, "net", float64(p.NetE4), 56_500, 50)
	near(t, "probability that it pays", p.PPays, .7477, 5e-4)
	near(t, "probability of fewer events", p.PLess, .992726, 5e-7)
	near(t, "the same without cost", exceeds(p.Unprotected, p.Protected, 0), p.PLess, 5e-4)
	if p.Few {
		t.Error("five events are enough")
	}
	none, err := NewPayback(PriorFrequency(Exposure{}), Exposure{}, Exposure{}, 0, 10)
	if err != nil || none.PPays != 0 || none.NetE4 != -10 || math.Abs(none.PLess-.5) > 1e-9 || !none.Few {
		t.Errorf("payback of nothing is %+v, %v", none, err)
	}
	if g := PriorFrequency(Exposure{Milli: 300_000, Events: 6}); g != (Frequency{1, 50}) || PriorFrequency(Exposure{}) != g {
		t.Errorf("prior is %v", g)
	}
	if _, err = NewPayback(Frequency{}, Exposure{}, Exposure{}, 1, 1); events.CodeOf(err) != events.Invalid {
		t.Errorf("error is %v", err)
	}
	if _, err = NewPayback(Frequency{1, 1}, Exposure{Events: -1}, Exposure{}, 1, 1); events.CodeOf(err) != events.Invalid {
		t.Errorf("error is %v", err)
	}
}

func TestDamageCosts(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	var damage []Damage
	var sum float64
	for i := range 400 {
		d := Damage{Job: fmt.Sprintf("job-%d", i), Task: []string{"glass", "floor"}[i%2], Day: firstDay, EventID: "e",
			CostE4: int64(2_500_000 * math.Exp(.5*r.NormFloat64()))}
		sum += float64(d.CostE4) / 400
		damage = append(damage, d)
	}
	g, err := FitDamage(damage, firstDay)
	if err != nil {
		t.Fatal(err)
	}
	for _, task := range []string{"glass", "floor", "never damaged"} {
		near(t, "mean cost of "+task, float64(g.MeanE4(task))/sum, 1, .08)
	}
	if g, err = FitDamage(nil, firstDay); err != nil || g.MeanE4("glass") != 0 {
		t.Errorf("no damage costs %d, %v", g.MeanE4("glass"), err)
	}
	if _, err = FitDamage([]Damage{{Job: "j", EventID: "e-7"}}, firstDay); err == nil || !strings.Contains(err.Error(), "event e-7: cost_e4 is 0") {
		t.Errorf("error is %v", err)
	}
}

func TestDrift(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 8))
	var lines []BacktestLine
	for i := range 60 {
		for _, task := range []string{"wash", "coat", "rare"} {
			z := .7 * r.NormFloat64()
			if task == "coat" && i >= 30 {
				z += 1.5
			}
			if task == "wash" && i == 20 {
				z = 40 // one bad job
			}
			if task != "rare" || i < 7 {
				lines = append(lines, BacktestLine{Line: Line{Task: task, Day: firstDay + i}, Actual: math.Exp(.2 * z), Prediction: Prediction{Median: 1}, Z: z})
			}
		}
	}
	found := FindDrift(lines)
	if len(found) != 1 || found[0].Task != "coat" || !found[0].Up || found[0].Lines != 60 ||
		found[0].Since < firstDay+26 || found[0].Since > firstDay+33 || found[0].Mean < 1.2 || found[0].Mean > 1.5 {
		t.Errorf("drift is %+v", found)
	}
	down := newCUSUM([]float64{0, -2, -2, -2, -2}, cusumSlack, cusumLimit, cusumMost)
	if down.Alarm != 4 || down.Start != 1 || down.Up {
		t.Errorf("downward chart is %+v", down)
	}
	if c := NewIndividuals(nil); c.Centre != 0 || c.Outside != nil {
		t.Errorf("chart of nothing is %+v", c)
	}
	if c := NewIndividuals([]float64{1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 9}); len(c.Outside) != 1 || c.Outside[0] != 11 {
		t.Errorf("points outside are %v", c.Outside)
	}
}

func TestMinutesMilli(t *testing.T) {
	for minutes, want := range map[float64]int64{0: 0, -1: 0, math.NaN(): 0, math.Inf(-1): 0, .0004: 0, .0005: 1, 5.4321: 5432,
		5.4325: 5433, math.Inf(1): 1_000_000_000, 1e300: 1_000_000_000} {
		if got := MinutesMilli(minutes); got != want {
			t.Errorf("%v minutes are %d thousandths, not %d", minutes, got, want)
		}
	}
	if got := UseMilli(1.1); got != 1100 {
		t.Errorf("1.1 units are %d thousandths", got)
	}
}

func TestStringsOfRanks(t *testing.T) {
	lists := [][]string{{"b", "a", "", "cab", "dab", "b", "ab", "a"}, {"cab", "b"}, nil}
	blocks := make([]dictionary, len(lists))
	first := make([][]int32, len(lists))
	known := make([][]string, len(lists))
	for l, names := range lists {
		for _, n := range names {
			first[l] = append(first[l], blocks[l].code(n))
		}
		known[l] = blocks[l].names
	}
	sorted, ranks := merge(known)
	for l, names := range lists {
		for i, n := range names {
			if sorted[ranks[l][first[l][i]]] != n {
				t.Errorf("%q is coded as %q", n, sorted[ranks[l][first[l][i]]])
			}
		}
	}
	if !reflect.DeepEqual(sorted, []string{"", "a", "ab", "b", "cab", "dab"}) {
		t.Errorf("names are %q", sorted)
	}
}
