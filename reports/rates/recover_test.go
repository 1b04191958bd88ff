package rates

import (
	"cmp"
	"context"
	"errors"
	"math"
	"runtime"
	"testing"
)

func query(s *Sample) Query {
	return Query{Task: s.Task, Surface: s.Surface, Method: s.Method, JobType: s.JobType, Crew: s.Crew,
		QuantityMilli: s.QuantityMilli, BookMinutesMilli: s.BookMinutesMilli}
}

// recovered is how well fits found the true rates of the lines after them.
type recovered struct{ rmse, within80, belowP80, belowP90, width, rounds float64 }

// recoverFirms fits 40 firms and quotes the jobs after.
func recoverFirms(t *testing.T, s scenario, o Options) recovered {
	t.Helper()
	const firms = 40
	var r recovered
	var n float64
	for seed := uint64(1000); seed < 1000+firms; seed++ {
		history, test := simulate(seed, s)
		f, err := FitLabour(history, history[len(history)-1].Day, o)
		if err != nil {
			t.Fatal(err)
		}
		r.rounds += float64(f.Rounds) / firms
		for i := range test {
			l := &test[i]
			p, err := f.Predict(query(&l.Sample))
			if err != nil {
				t.Fatal(err)
			}
			n++
			actual := float64(l.Minutes)
			truth := l.truth
			if o.Crews {
				truth += l.crew
			}
			r.rmse += (p.Mean - truth) * (p.Mean - truth)
			r.within80 += one(p.P10 <= actual && actual <= p.P90)
			r.belowP80 += one(actual <= p.P80)
			r.belowP90 += one(actual <= p.P90)
			r.width += (p.P90 - p.P10) / p.Book
		}
	}
	return recovered{math.Sqrt(r.rmse / n), r.within80 / n, r.belowP80 / n, r.belowP90 / n, r.width / n, r.rounds}
}

// TestFitRecoversTheTrueRates compares with lme4's REML fit of firms of the same
// laws, whose error was .132 in the clean scenario, .158 in the realistic one,
// .295 in a firm's first half year and .217 under strong drift (lme4 1.1-31,
// own runs; other draws of the same laws, so 10 % are allowed).
func TestFitRecoversTheTrueRates(t *testing.T) {
	for _, test := range []struct {
		name     string
		scenario scenario
		options  Options
		rmse     float64
		low, up  float64 // of the share within the central 80 %
		safe     float64 // how far the shares below P80 and P90 may be off
	}{
		{"clean", clean, Options{}, .145, .76, .84, .03},
		{"clean, without the recent level", clean, Options{NoRecent: true}, .145, .76, .84, .03},
		{"clean, normal", clean, Options{Nu: math.Inf(1), NoRecent: true}, .145, .76, .84, .03},
		{"realistic", realistic, Options{}, .158, .76, .86, .03},
		{"realistic, crews", realistic, Options{Crews: true}, .158, .76, .86, .03},
		{"start-up", startUp, Options{}, .295, .76, .88, .03},
		// Safe amounts are too low under strong drift, which is what the alarm is for.
		{"drift", drifting, Options{}, .217, .74, .86, .06},
	} {
		t.Run(test.name, func(t *testing.T) {
			r := recoverFirms(t, test.scenario, test.options)
			t.Logf("RMSE %.4f, within 80 %% %.3f, <=P80 %.3f, <=P90 %.3f, width %.2f, %.1f rounds", r.rmse, r.within80,
				r.belowP80, r.belowP90, r.width, r.rounds)
			if r.rmse > test.rmse {
				t.Errorf("RMSE of the log rate is %.4f, more than %.3f", r.rmse, test.rmse)
			}
			if r.within80 < test.low || r.within80 > test.up {
				t.Errorf("%.3f of lines are within P10 to P90, not %.2f to %.2f", r.within80, test.low, test.up)
			}
			if math.Abs(r.belowP80-.8) > test.safe || math.Abs(r.belowP90-.9) > test.safe {
				t.Errorf("%.3f of lines are below P80 and %.3f below P90", r.belowP80, r.belowP90)
			}
		})
	}
}

// TestRecentLevelFollowsDrift: the recent level is there for drift.
func TestRecentLevelFollowsDrift(t *testing.T) {
	with, without := recoverFirms(t, drifting, Options{}), recoverFirms(t, drifting, Options{NoRecent: true})
	if with.rmse > .98*without.rmse {
		t.Errorf("RMSE with the recent level %.4f, without %.4f", with.rmse, without.rmse)
	}
}

// TestBacktestOfSimulatedFirms: the method beats the book on quotes made
// in the order of days, its mean breaks even, and whole jobs keep to their P80.
func TestBacktestOfSimulatedFirms(t *testing.T) {
	var jobs []BacktestJob
	for seed := uint64(4000); seed < 4006; seed++ {
		history, _ := simulate(seed, clean)
		calls := 0
		b, err := RunBacktest(context.Background(), history, BacktestOptions{WarmUp: 40, Progress: func(done, total int) {
			if calls++; done != calls || total != clean.jobs {
				t.Errorf("progress says %d of %d after %d calls", done, total, calls)
			}
		}})
		if err != nil {
			t.Fatal(err)
		}
		if len(b.WarmUp)+len(b.LeftOut)+len(b.Jobs) != clean.jobs || calls != clean.jobs {
			t.Errorf("of %d jobs %d were scored, %d left out, %d too early, %d reported", clean.jobs, len(b.Jobs),
				len(b.LeftOut), len(b.WarmUp), calls)
		}
		jobs = append(jobs, b.Jobs...)
	}
	s := score(jobs)
	t.Logf("%+v", s)
	for _, check := range []struct {
		name      string
		value     float64
		low, high float64
	}{
		{"MAPE", s.MAPE, .2, .32},
		{"within 80 %", s.Within80, .76, .84},
		{"below P80", s.BelowP80, .76, .84},
		{"below P90", s.BelowP90, .86, .94},
		{"jobs below P80", s.JobBelowP80, .75, .85},
		{"jobs below P90", s.JobBelowP90, .85, .95},
		{"bias of expected minutes", s.Bias, -.03, .03},
		{"skill at P50", s.Skill[0], .15, .5},
		{"skill at P80", s.Skill[1], .15, .5},
		{"gain in standard errors", s.Gain / s.GainSE, 5, 100},
	} {
		if !(check.value >= check.low && check.value <= check.high) {
			t.Errorf("%s is %.4f, not %.2f to %.2f", check.name, check.value, check.low, check.high)
		}
	}
	if s.MAPE >= s.MAPEBook || s.BiasMedian >= s.Bias || s.Few {
		t.Errorf("MAPE %.3f against the book's %.3f, bias of medians %.3f against means %.3f, few %v", s.MAPE, s.MAPEBook,
			s.BiasMedian, s.Bias, s.Few)
	}
}

// mostQuotedInADay returns how many jobs were quoted on the day with the most of them.
func mostQuotedInADay(history []Sample) (most int) {
	quoted := map[string]int{}
	for _, s := range history {
		day := cmp.Or(s.QuotedDay, s.Day)
		if known, ok := quoted[s.Job]; !ok || day < known {
			quoted[s.Job] = day
		}
	}
	jobs := map[int]int{}
	for _, day := range quoted {
		jobs[day]++
		most = max(most, jobs[day])
	}
	return most
}

// TestBacktestStopsWithItsContext: the day that is under way on each processor is finished,
// and nothing more is begun.
func TestBacktestStopsWithItsContext(t *testing.T) {
	history, _ := simulate(1, clean)
	ctx, cancel := context.WithCancel(context.Background())
	last := 0
	_, err := RunBacktest(ctx, history, BacktestOptions{Progress: func(done, _ int) {
		if done == 3 {
			cancel()
		}
		last = done
	}})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error is %v", err)
	}
	if most := 3 + runtime.GOMAXPROCS(0)*mostQuotedInADay(history); last > most {
		t.Errorf("%d jobs were quoted after all, more than %d", last, most)
	}
}

// TestBacktestUsesOnlyWhatWasFinishedBeforeTheQuote: what happened on or after
// the day of a quote must not change it.
func TestBacktestUsesOnlyWhatWasFinishedBeforeTheQuote(t *testing.T) {
	history, _ := simulate(2, clean)
	history = history[:400]
	before, err := RunBacktest(context.Background(), history, BacktestOptions{})
	if err != nil {
		t.Fatal(err)
	}
	last := before.Jobs[len(before.Jobs)-1]
	for i := range history {
		if history[i].Day >= last.Quoted {
			history[i].Minutes *= 3
		}
	}
	after, err := RunBacktest(context.Background(), history, BacktestOptions{})
	if err != nil {
		t.Fatal(err)
	}
	again := after.Jobs[len(after.Jobs)-1]
	if again.Job != last.Job || again.Total.P80 != last.Total.P80 || again.Actual == last.Actual {
		t.Errorf("job %s quoted P80 %v and then job %s %v", last.Job, last.Total.P80, again.Job, again.Total.P80)
	}
}
