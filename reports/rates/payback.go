package rates

import (
	"fmt"
	"math"

	"daysheet/events"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Frequency is what is known about events per unit of exposure, for example
// damage per room: a Gamma law with a shape and a rate. Its zero value is not
// useful; see [PriorFrequency].
type Frequency struct{ Shape, Rate float64 }

// After returns the law after k events in an exposure (Gamma-Poisson).
func (g Frequency) After(k int64, exposure float64) Frequency {
	return Frequency{g.Shape + float64(k), g.Rate + exposure}
}

// Mean returns the expected number of events per unit of exposure.
func (g Frequency) Mean() float64 { return g.Shape / g.Rate }

func (g Frequency) law() distuv.Gamma { return distuv.Gamma{Alpha: g.Shape, Beta: g.Rate} }

// Quantile returns the frequency that lies below with probability p, which is
// between 0 and 1.
func (g Frequency) Quantile(p float64) float64 { return g.law().Quantile(p) }

// Exposure counts events in what was exposed to them: rooms, or 100 m2.
type Exposure struct {
	Milli  int64 // exposure in thousandths
	Events int64
}

// startFrequency is a firm's damage per room before it has counted any: from
// memory, no source.
const startFrequency = 0.02

// PriorFrequency returns the one prior for protected and unprotected work, from
// all the firm has counted, so that no difference is claimed before there is
// data: one event at the firm's own frequency, or at 0.02 where none happened.
func PriorFrequency(all Exposure) Frequency {
	if all.Milli <= 0 || all.Events <= 0 {
		return Frequency{1, 1 / startFrequency}
	}
	return Frequency{1, float64(all.Milli) / 1000 / float64(all.Events)}
}

// Payback says whether protection paid, per unit of exposure. Money is in
// ten-thousandths of the currency unit, to the nearest, halves away from zero.
type Payback struct {
	Protected   Frequency // what is known about protected work
	Unprotected Frequency
	SavedE4     int64   // damage avoided
	NetE4       int64   // SavedE4 less the protection
	PPays       float64 // probability that the net is above zero
	PLess       float64 // probability that protected work has fewer events at all
	Few         bool    // under 5 events: no cause may be claimed
}

// NewPayback compares protected with unprotected work. damageE4 is what one
// event costs on average, protectionE4 what protecting one unit of exposure
// costs. Protection is laid where the risk is higher, so the answer leans
// against it: compare within a job type and surface. It refuses amounts and
// counts below zero, and a prior that is no law.
func NewPayback(prior Frequency, protected, unprotected Exposure, damageE4, protectionE4 int64) (Payback, error) {
	for _, v := range []struct {
		field string
		value int64
	}{{"protected.milli", protected.Milli}, {"protected.events", protected.Events},
		{"unprotected.milli", unprotected.Milli}, {"unprotected.events", unprotected.Events}, {"damage_e4", damageE4},
		{"protection_e4", protectionE4}} {
		if v.value < 0 || v.value > events.MoneyE4Max {
			return Payback{}, fmt.Errorf("reckon payback: %w", events.Refuse(v.field, v.value, "0 to %d", events.MoneyE4Max))
		}
	}
	if !(prior.Shape > 0 && prior.Rate > 0) {
		return Payback{}, fmt.Errorf("reckon payback: %w", events.Refuse("prior", prior, "shape and rate above 0"))
	}
	p := Payback{Protected: prior.After(protected.Events, float64(protected.Milli)/1000),
		Unprotected: prior.After(unprotected.Events, float64(unprotected.Milli)/1000),
		Few:         protected.Events+unprotected.Events < 5}
	saved := (p.Unprotected.Mean() - p.Protected.Mean()) * float64(damageE4)
	p.SavedE4 = int64(math.Round(saved))
	p.NetE4 = int64(math.Round(saved - float64(protectionE4)))
	p.PLess = mathext.RegIncBeta(p.Protected.Shape, p.Unprotected.Shape,
		p.Protected.Rate/(p.Protected.Rate+p.Unprotected.Rate))
	if damageE4 > 0 {
		p.PPays = exceeds(p.Unprotected, p.Protected, float64(protectionE4)/float64(damageE4))
	}
	return p, nil
}

// exceeds returns the probability that a lies above b + by: the mean of the
// upper tail of a over 200 equally likely slices of b.
func exceeds(a, b Frequency, by float64) float64 {
	const slices = 200
	var sum float64
	for i := range slices {
		x := b.Quantile((float64(i) + .5) / slices)
		sum += 1 - a.law().CDF(x+by)
	}
	return sum / slices
}

// Damage is what one piece of damage cost to make good.
type Damage struct {
	Job     string
	Task    string
	Day     int // in days since 1970-01-01
	CostE4  int64
	EventID string
}

// DamageFit is what damage costs by task, learned like rates.
type DamageFit struct {
	fit       *Fit
	geometric int64 // mean of all costs
}

// FitDamage learns costs from damage on or before asOf. It refuses costs that
// are not above zero.
func FitDamage(damage []Damage, asOf int) (*DamageFit, error) {
	samples := make([]Sample, len(damage))
	var logs float64
	for i, d := range damage {
		if d.CostE4 <= 0 || d.CostE4 > amountMax {
			err := events.Refuse("cost_e4", d.CostE4, "1 to %d", amountMax)
			err.EventID = d.EventID
			return nil, fmt.Errorf("read damage of job %q: %w", d.Job, err)
		}
		logs += math.Log(float64(d.CostE4)) / float64(len(damage))
		samples[i] = Sample{Minutes: d.CostE4, Line: Line{Job: d.Job, Task: d.Task, Day: d.Day, QuantityMilli: 1000,
			EventIDs: []string{d.EventID}}}
	}
	g := &DamageFit{geometric: max(1, int64(math.Round(math.Exp(logs))))}
	for i := range samples {
		samples[i].BookMinutesMilli = g.geometric
	}
	var err error
	g.fit, err = fitSamples(samples, ofDamage, asOf, Options{FlatRoot: true, NoRecent: true})
	return g, err
}

// MeanE4 returns what one piece of damage to a task costs on average, to the
// nearest ten-thousandth; 0 where no damage is known.
func (g *DamageFit) MeanE4(task string) int64 {
	if g.fit.Rows == 0 {
		return 0
	}
	p, err := g.fit.Predict(Query{Task: task, QuantityMilli: 1000, BookMinutesMilli: g.geometric})
	if err != nil {
		return 0 // cannot be: the query is ours
	}
	return int64(math.Round(p.Expected * 1000))
}
