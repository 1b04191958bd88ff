package rates

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// near fails where got is further than tolerance from want.
func near(t *testing.T, name string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.10g, not %.10g within %g", name, got, want, tolerance)
	}
}

// pure is the plain model, without priors: on balanced data its fixed point is
// REML.
func pure(levels int) settings {
	return settings{nu: math.Inf(1), t0: make([]float64, levels), flatRoot: true, oneSigma: true, tolerance: 1e-13, rounds: 200_000}
}

// fitGroups fits firm > group to rows in their groups.
func fitGroups(groups [][]float64) *core {
	b := newTreeBuilder(2, 0)
	var y []float64
	for g, rows := range groups {
		for i, v := range rows {
			level := 2
			if i == 0 {
				level = min(g, 1)
			}
			b.row(level)
			y = append(y, v)
		}
	}
	c := newCore(pure(2), b.done(), y, nil)
	c.run()
	return c
}

// fitKnown fits averages with known variances, each family a group of groups.
func fitKnown(families [][]float64, variances [][]float64) *core {
	levels := 3
	if len(families) == 1 {
		levels = 2
	}
	b := newTreeBuilder(levels, 0)
	var y, d []float64
	for g, family := range families {
		for i, v := range family {
			level := levels - 1
			if i == 0 {
				level = min(g, 1)
			}
			b.row(level)
			y, d = append(y, v), append(d, 1/variances[g][i])
		}
	}
	c := newCore(pure(levels), b.done(), y, d)
	for t := range c.sigmas {
		c.sigmas[t] = 1
	}
	c.add()
	c.averages()
	c.up()
	c.descend()
	c.reweigh()
	return c
}

func checkAnova(t *testing.T, name string, groups [][]float64, f, sd, tolerance float64) {
	t.Helper()
	c := fitGroups(groups)
	n := float64(len(groups[0]))
	near(t, name+": F", 1+n*c.tau[1]/c.sigma, f, tolerance*f)
	near(t, name+": residual standard deviation", math.Sqrt(c.sigma), sd, tolerance*sd)
}

// Source: NIST StRD, analysis of variance, data sets SiRstv and AtmWtAg,
// certified values. One-way REML on balanced data has the same F. Relative
// tolerance 1e-8, as the fit stops when variances move less than 1e-13.
func TestNISTAnalysisOfVariance(t *testing.T) {
	checkAnova(t, "SiRstv", [][]float64{{196.3052, 196.1240, 196.1890, 196.2569, 196.3403},
		{196.3042, 196.3825, 196.1669, 196.3257, 196.0422}, {196.1303, 196.2005, 196.2889, 196.0343, 196.1811},
		{196.2795, 196.1748, 196.1494, 196.1485, 195.9885}, {196.2119, 196.1051, 196.1850, 196.0052, 196.2090}},
		1.18046237440255, .104076068334656, 1e-8)
	// In units of 1e-7 above 107.8681.
	checkAnova(t, "AtmWtAg", [][]float64{
		{568, 465, 572, 785, 446, 903, 526, 494, 616, 587, 519, 486, 419, 569, 508, 672, 385, 518, 662, 424, 360, 333, 610, 477},
		{79, 344, 513, 197, 604, 385, 642, 365, 151, 82, 517, 448, 198, 482, 334, 609, 101, 512, 469, 360, 254, 261, 450, 368}},
		15.946733567793, 151.04831444641, 1e-8)
}

// Source: NIST StRD, SmLs01, 04 and 07 by their generating rule; F 21, residual
// standard deviation .1. Tolerance 2e-3 at the offset 1e12, where a double holds
// three decimals.
func TestNISTSimulatedAnalysisOfVariance(t *testing.T) {
	g := func(k int) float64 {
		switch {
		case k == 1:
			return .2
		case k%2 == 0:
			return .1
		}
		return .3
	}
	for _, test := range []struct{ offset, tolerance float64 }{{1, 1e-8}, {1e6, 1e-8}, {1e12, 2e-3}} {
		groups := make([][]float64, 9)
		for k := range groups {
			for r := 1; r <= 21; r++ {
				groups[k] = append(groups[k], (test.offset+g(k+1)+g(r))-test.offset)
			}
		}
		checkAnova(t, fmt.Sprintf("offset %g", test.offset), groups, 21, .1, test.tolerance)
	}
}

// Source: NIST StRD, univariate, NumAcc1 to 4, certified mean and standard
// deviation (data by their pattern, from memory). One cell is a mean and a
// variance. Tolerance of the standard deviation 1e-7.
func TestNISTUnivariate(t *testing.T) {
	series := func(base float64) []float64 {
		x := []float64{base + .2}
		for range 500 {
			x = append(x, base+.1, base+.3)
		}
		return x
	}
	for _, test := range []struct {
		x        []float64
		mean, sd float64
	}{
		{[]float64{10000001, 10000003, 10000002}, 10000002, 1},
		{series(1), 1.2, .1}, {series(1e6), 1000000.2, .1}, {series(1e7), 10000000.2, .1},
	} {
		c := fitGroups([][]float64{test.x})
		near(t, "mean", c.nodes[1][0].mean, test.mean, 1e-12*test.mean)
		near(t, "standard deviation", math.Sqrt(c.sigma), test.sd, 1e-7)
	}
}

// Source: Davies, Statistical Methods in Research and Production, as the data
// sets Dyestuff and Dyestuff2 of lme4, with lme4's REML fits. Tolerances are
// half a unit of the last printed digit.
func TestDyestuff(t *testing.T) {
	c := fitGroups([][]float64{{1545, 1440, 1440, 1520, 1580}, {1540, 1555, 1490, 1560, 1495}, {1595, 1550, 1605, 1510, 1560},
		{1445, 1440, 1595, 1465, 1545}, {1595, 1630, 1515, 1635, 1625}, {1520, 1455, 1450, 1480, 1445}})
	near(t, "intercept", c.nodes[0][0].mean, 1527.5, 1e-6)
	near(t, "standard error of the intercept", math.Sqrt(c.nodes[0][0].c), 19.38341, 5e-6)
	near(t, "batch variance", c.tau[1], 1764.050, 5e-4)
	near(t, "residual variance", c.sigma, 2451.250, 5e-4)
	for k, want := range []float64{-17.6068514, .3912634, 28.5622256, -23.0845385, 56.7331877, -44.9952868} {
		near(t, fmt.Sprintf("batch %d", k), c.nodes[1][k].mean-1527.5, want, 1e-5)
	}
	c = fitGroups([][]float64{{7.298, 3.846, 2.434, 9.566, 7.990}, {5.220, 6.556, .608, 11.788, -.892},
		{.110, 10.386, 13.434, 5.510, 8.166}, {2.212, 4.852, 7.092, 9.288, 4.980}, {.282, 9.014, 4.458, 9.446, 7.198},
		{1.722, 4.782, 8.106, .758, 3.758}})
	near(t, "second: intercept", c.nodes[0][0].mean, 5.6656, 5e-5)
	near(t, "second: batch variance", c.tau[1], 0, 0)
	near(t, "second: residual variance", c.sigma, 13.80631, 5e-6)
}

// Source: Davies, data set Pastes of lme4 (batch > cask > two assays), lme4's
// REML fit. The test of the nested passes.
func TestPastes(t *testing.T) {
	y := []float64{62.8, 62.6, 60.1, 62.3, 62.7, 63.1, 60.0, 61.4, 57.5, 56.9, 61.1, 58.9, 58.7, 57.5, 63.9, 63.1, 65.4, 63.7,
		57.1, 56.4, 56.9, 58.6, 64.7, 64.5, 55.1, 55.1, 54.7, 54.2, 58.8, 57.5, 63.4, 64.9, 59.3, 58.1, 60.5, 60.0,
		62.5, 62.6, 61.0, 58.7, 56.9, 57.7, 59.2, 59.4, 65.2, 66.0, 64.8, 64.1, 54.8, 54.8, 64.0, 64.0, 57.7, 56.8,
		58.3, 59.3, 59.2, 59.2, 58.9, 56.6}
	b := newTreeBuilder(3, 0)
	for i := range y {
		switch {
		case i == 0:
			b.row(0)
		case i%6 == 0:
			b.row(1)
		case i%2 == 0:
			b.row(2)
		default:
			b.row(3)
		}
	}
	c := newCore(pure(3), b.done(), y, nil)
	c.run()
	near(t, "intercept", c.nodes[0][0].mean, 60.0533333, 5e-8)
	near(t, "batch variance", c.tau[1], 1.65731, 1e-5)
	near(t, "cask variance", c.tau[2], 8.43367, 1e-5)
	near(t, "residual variance", c.sigma, .67800, 1e-5)
}

// Source: BCG vaccine trials (Colditz and others 1994), log risk ratios, fitted
// by metafor with the Paule-Mandel estimator and a tolerance of 1e-14. The
// averages and variances are known, so this is the variance equation alone.
func TestBCGTrials(t *testing.T) {
	table := [][4]float64{{4, 119, 11, 128}, {6, 300, 29, 274}, {3, 228, 11, 209}, {62, 13536, 248, 12619}, {33, 5036, 47, 5761},
		{180, 1361, 372, 1079}, {8, 2537, 10, 619}, {505, 87886, 499, 87892}, {29, 7470, 45, 7232}, {17, 1699, 65, 1600},
		{186, 50448, 141, 27197}, {5, 2493, 3, 2338}, {27, 16886, 29, 17825}}
	var y, v []float64
	for _, r := range table {
		n1, n2 := r[0]+r[1], r[2]+r[3]
		y, v = append(y, math.Log(r[0]/n1/(r[2]/n2))), append(v, 1/r[0]-1/n1+1/r[2]-1/n2)
	}
	c := fitKnown([][]float64{y}, [][]float64{v})
	near(t, "tau squared", c.tau[1], .3180684522, 1e-9)
	near(t, "mean", c.nodes[0][0].mean, -.714968, 5e-7)
	near(t, "standard error", math.Sqrt(c.nodes[0][0].c), .180892, 5e-7)
	for k, want := range []float64{-.80112, -1.25501, -.98953, -1.39855, -.28653, -.78460, -1.24750, .00301, -.50642, -1.24879,
		-.35347, -.28086, -.14522} {
		near(t, fmt.Sprintf("trial %d", k+1), c.nodes[1][k].mean, want, 6e-6)
	}
}

// Source: Hachemeister's bodily injury data (1975), Bühlmann-Straub and Jewell's
// hierarchical model as fitted by actuar with the iterative estimator.
// Tolerance 1e-6 of the value: its estimator stops there.
func TestHachemeisterAndJewell(t *testing.T) {
	const s2 = 139120025.92529
	mean := []float64{2060.921392, 1511.224127, 1805.842738, 1352.975915, 1599.828607}
	weight := []float64{100155, 19895, 13735, 4152, 36110}
	pick := func(states ...int) (m, v []float64) {
		for _, s := range states {
			m, v = append(m, mean[s-1]), append(v, s2/weight[s-1])
		}
		return m, v
	}
	all, allV := pick(1, 2, 3, 4, 5)
	c := fitKnown([][]float64{all}, [][]float64{allV})
	near(t, "one level: variance", c.tau[1], 64366.51, .07)
	near(t, "one level: collective", c.nodes[0][0].mean, 1688.895, 2e-3)
	for k, want := range []float64{2053.062553, 1528.634648, 1789.941768, 1467.977256, 1604.858623} {
		near(t, fmt.Sprintf("one level: state %d", k+1), c.nodes[1][k].mean, want, 2e-3)
	}
	m1, v1 := pick(1, 3)
	m2, v2 := pick(2, 4, 5)
	c = fitKnown([][]float64{m1, m2}, [][]float64{v1, v2})
	near(t, "state variance", c.tau[2], 10951.90722, .011)
	near(t, "cohort variance", c.tau[1], 88981.28901, .09)
	near(t, "collective", c.nodes[0][0].mean, 1746.246271, 2e-3)
	near(t, "cohort 1", c.nodes[1][0].mean, 1948.997147, 2e-3)
	near(t, "cohort 2", c.nodes[1][1].mean, 1543.495396, 2e-3)
	near(t, "credibility of state 1", c.nodes[2][0].z, .8874441, 1e-6)
	for k, want := range []float64{2048.323658, 1874.625419, 1523.799691, 1496.562991, 1585.168722} {
		near(t, fmt.Sprintf("state at %d", k), c.nodes[2][k].mean, want, 2e-3)
	}
}

// Source: Rubin's eight schools (1981) as in Gelman and others, Bayesian Data
// Analysis: pooled 7.7 with variance 16.6. The variance between schools is
// estimated as zero: a test of the boundary.
func TestEightSchools(t *testing.T) {
	se := []float64{15, 10, 16, 11, 9, 11, 10, 18}
	v := make([]float64, len(se))
	for i := range se {
		v[i] = se[i] * se[i]
	}
	c := fitKnown([][]float64{{28, 8, -3, 7, -1, 1, 18, 12}}, [][]float64{v})
	near(t, "variance between schools", c.tau[1], 0, 0)
	near(t, "pooled effect", c.nodes[0][0].mean, 7.685617, 5e-7)
	near(t, "standard error", math.Sqrt(c.nodes[0][0].c), 4.071919, 5e-7)
	near(t, "school A", c.nodes[1][0].mean, 7.685617, 5e-7)
}

// Source: Efron and Morris, JASA 70 (1975) 311 and Scientific American 1977:
// batting averages of 18 players after 45 times at bat and for the rest of the
// season; published shrinkage .212. James-Stein uses 15 where Paule-Mandel has
// 17 degrees of freedom: c = 1 - 15/17 (1-Z). Tolerance 5e-4, the last digit.
func TestEfronMorrisBaseball(t *testing.T) {
	early := []float64{.400, .378, .356, .333, .311, .311, .289, .267, .244, .244, .222, .222, .222, .222, .222, .200, .178, .156}
	late := []float64{.346, .298, .276, .222, .273, .270, .263, .210, .269, .230, .264, .256, .303, .264, .226, .285, .316, .200}
	v := make([]float64, len(early))
	for i := range v {
		v[i] = .2654 * (1 - .2654) / 45
	}
	c := fitKnown([][]float64{early}, [][]float64{v})
	near(t, "shrinkage", 1-15./17*(1-c.nodes[1][0].z), .212, 5e-4)
	near(t, "grand mean", c.nodes[0][0].mean, .265, 5e-4)
	var raw, shrunk float64
	for i, p := range late {
		raw += (early[i] - p) * (early[i] - p)
		shrunk += (c.nodes[1][i].mean - p) * (c.nodes[1][i].mean - p)
	}
	near(t, "squared error of raw averages", raw, .07532, 3e-4)
	if shrunk > raw/3 {
		t.Errorf("squared error of shrunk averages is %.5f, of raw ones %.5f", shrunk, raw)
	}
}

// Source: NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.2 to 6.3.2.4
// (worked examples, read second-hand). Tolerance half a unit of the last digit.
func TestHandbookCharts(t *testing.T) {
	i := NewIndividuals([]float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1})
	near(t, "centre", i.Centre, 50.81, 5e-5)
	near(t, "mean moving range", i.MeanRange, 1.8778, 5e-5)
	near(t, "upper limit", i.Upper, 55.8041, 6e-5)
	near(t, "lower limit", i.Lower, 45.8159, 6e-5)
	near(t, "range limit", i.RangeUpper, 6.1347, 1e-3)
	e := NewEWMA([]float64{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6,
		52.4, 53.6, 52.1}, 50, 2.0539, .3)
	for k, want := range []float64{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
		49.38, 49.92, 50.73, 51.23, 51.94, 51.99} {
		near(t, fmt.Sprintf("weighted mean %d", k+1), e.Points[k], want, .00501)
	}
	near(t, "upper limit of weighted means", e.Upper[19], 52.5884, 1e-3)
	near(t, "lower limit of weighted means", e.Lower[19], 47.4115, 1e-3)
	if len(i.Outside)+len(e.Outside) > 0 {
		t.Errorf("points outside: %v, %v", i.Outside, e.Outside)
	}
	x := []float64{324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150, 328.325,
		327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350}
	for k := range x {
		x[k] -= 325
	}
	c := newCUSUM(x, .3175, 4.1959, math.Inf(1))
	for k, want := range []float64{0, 0, 0, 0, .03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04} {
		near(t, fmt.Sprintf("upper sum %d", k+1), c.High[k], want, .00501)
	}
	for k, want := range []float64{0, .01, 0, .33, 0, 0, .56, .72, .17, .25, .31, 0, 0, 0, 0, 0, 0, 0, 0, 0} {
		near(t, fmt.Sprintf("lower sum %d", k+1), c.Low[k], want, .00501)
	}
	if c.Alarm != 13 || c.Start != 12 || !c.Up {
		t.Errorf("alarm at %d from %d, up %v", c.Alarm, c.Start, c.Up)
	}
}

// Source: tables of Student's t (values of R's qt). A line whose rate is known
// has exactly this law. Tolerance half a unit of the sixth decimal.
func TestQuantilesOfT(t *testing.T) {
	p := []float64{.8, .9, .95, .975, .99}
	for nu, row := range map[float64][]float64{
		1: {1.376382, 3.077684, 6.313752, 12.706205, 31.820516}, 2: {1.060660, 1.885618, 2.919986, 4.302653, 6.964557},
		5: {.919544, 1.475884, 2.015048, 2.570582, 3.364930}, 10: {.879058, 1.372184, 1.812461, 2.228139, 2.763769},
		30: {.853767, 1.310415, 1.697261, 2.042272, 2.457262}, 100: {.845230, 1.290075, 1.660234, 1.983972, 2.364217},
	} {
		for k, want := range row {
			got := distuv.StudentsT{Sigma: 1, Nu: nu}.Quantile(p[k])
			if nu > 4 {
				got = newLaw(0, 0, 1, nu).quantile(p[k])
			}
			near(t, fmt.Sprintf("t of %g at %g", nu, p[k]), got, want, 6e-7*max(1, want))
		}
	}
	// A large variance of the estimate makes the law normal; tables of the normal
	// law, four decimals.
	near(t, "normal P90", newLaw(0, 1, 1e-6, 5).quantile(.9), 1.2816, 1e-4)
	near(t, "normal P80", newLaw(0, 1, 1e-6, math.Inf(1)).quantile(.8), .8416, 1e-4)
}

// Source: Johnson, Ott and Dogucu, Bayes Rules!, chapter 5: Gamma(10, 2) and
// counts 6, 2, 2, 1 give Gamma(21, 6); Albert, Bayesian Computation with R:
// Gamma(6, 113.5). Quantiles recomputed with R. Gelman and others, Bayesian Data
// Analysis (from memory): 3 deaths, exposure 2, prior Gamma(3, 5).
func TestGammaPoisson(t *testing.T) {
	g := Frequency{10, 2}.After(6+2+2+1, 4)
	if g != (Frequency{21, 6}) {
		t.Errorf("posterior is %v", g)
	}
	near(t, "mean", g.Mean(), 3.5, 1e-12)
	for p, want := range map[float64]float64{.1: 2.563785, .5: 3.444604, .9: 4.507517} {
		near(t, fmt.Sprintf("quantile %g", p), g.Quantile(p), want, 5e-7)
	}
	near(t, "P(.05)", Frequency{6, 113.5}.law().CDF(.05), .5008145, 5e-8)
	near(t, "P(.081)", Frequency{6, 113.5}.law().CDF(.081), .8955648, 5e-8)
	g = Frequency{3, 5}.After(3, 2)
	near(t, "deaths", g.Mean(), .857, 5e-4)
	near(t, "deaths, low", g.Quantile(.025), .3145563, 5e-8)
	near(t, "deaths, high", g.Quantile(.975), 1.6669046, 5e-8)
}

// Source: Gelman and others, Bayesian Data Analysis, placenta previa: 437 girls
// of 980 births, posterior mean 0.446 (from memory; quantiles recomputed with R).
func TestBetaBinomial(t *testing.T) {
	s := Share{1, 1}.After(437, 980)
	if s != (Share{438, 544}) {
		t.Errorf("posterior is %v", s)
	}
	near(t, "mean", s.Mean(), .446, 5e-4)
	for p, want := range map[float64]float64{.025: .4150655, .5: .4459919, .975: .4771998} {
		near(t, fmt.Sprintf("quantile %g", p), s.Quantile(p), want, 5e-8)
	}
}

// Source: definition of the quantile loss (Koenker and Bassett 1978); example
// values of a widely used statistics library, recomputed by formula. Hours
// example: own, recomputed by hand.
func TestLosses(t *testing.T) {
	mean := func(p float64, y, f []float64) (sum float64) {
		for i := range y {
			sum += pinball(p, y[i], f[i]) / float64(len(y))
		}
		return sum
	}
	y := []float64{1, 2, 3}
	near(t, "too low, .1", mean(.1, y, []float64{0, 2, 3}), .1/3, 1e-12)
	near(t, "too high, .1", mean(.1, y, []float64{1, 2, 4}), .3, 1e-12)
	near(t, "too low, .9", mean(.9, y, []float64{0, 2, 3}), .3, 1e-12)
	near(t, "too high, .9", mean(.9, y, []float64{1, 2, 4}), .1/3, 1e-12)

	actual, estimate := []float64{10, 16, 8, 25, 12}, []float64{12, 14, 8, 20, 15}
	for p, want := range map[float64]float64{.5: 1.2, .8: 1.32, .9: 1.36} {
		near(t, fmt.Sprintf("hours at %g", p), mean(p, actual, estimate), want, 1e-12)
	}
	var jobs []BacktestJob
	for i := range actual {
		l := BacktestLine{Actual: actual[i], Prediction: Prediction{Book: 1, Median: estimate[i], Expected: estimate[i]}}
		jobs = append(jobs, BacktestJob{Actual: actual[i], Lines: []BacktestLine{l}})
	}
	s := score(jobs)
	near(t, "MAPE", s.MAPE, .155, 1e-12)
	near(t, "pinball", s.Pinball[0], 1.2, 1e-12)
	near(t, "bias", s.Bias, 69./71-1, 1e-12)
	if s.Jobs != 5 || s.Lines != 5 || !s.Few {
		t.Errorf("score of %d jobs, %d lines, few %v", s.Jobs, s.Lines, s.Few)
	}
	// Forecast errors 3/2.5, -.5/0, 2/2, 7/8: from memory, recomputed by hand.
	jobs = nil
	for _, v := range [][2]float64{{3, 2.5}, {-.5, 0}, {2, 2}, {7, 8}} {
		l := BacktestLine{Actual: v[0], Prediction: Prediction{Book: 1, Median: v[1]}}
		jobs = append(jobs, BacktestJob{Lines: []BacktestLine{l}})
	}
	near(t, "MAPE of the example", score(jobs).MAPE, .32738, 5e-6)
}

// Source: the unit learning curve (Crawford) of 80 %, as printed in textbooks of
// operations management: 1, .8, .7021, .64, .512 (8th), .4765 (10th).
func TestLearningCurve(t *testing.T) {
	for n, want := range map[int]float64{1: 1, 2: .8, 3: .7021, 4: .64, 8: .512, 10: .4765} {
		near(t, fmt.Sprintf("unit %d", n), math.Pow(float64(n), math.Log2(.8)), want, 5e-5)
	}
	var samples []Sample
	for n := 1; n <= 16; n++ {
		samples = append(samples, large(fmt.Sprintf("job-%02d", n), math.Log2(.8)*math.Log(float64(n))))
		samples[n-1].Day += n
	}
	f := mustFit(t, samples, Options{})
	l := f.Learning("coat", "")
	near(t, "factor per doubling", l.PerDoubling, .8, 1e-5)
	near(t, "slope", l.Slope, math.Log(.8), 1e-5)
	if !l.Clear || l.Rows != 16 {
		t.Errorf("learning is %+v", l)
	}
	if l := f.Learning("coat", "nobody"); l.Clear || l.Rows != 0 {
		t.Errorf("learning of nobody is %+v", l)
	}
}
