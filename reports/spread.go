package reports

import "slices"

// spread is how a figure lies over several jobs.
type spread struct {
	n                           int64
	least, q1, median, q3, most int64
	leastJob, mostJob           JobRow
}

// ofJob is the figure of one job.
type ofJob struct {
	job   JobRow
	value int64
}

// spreadOf returns the spread of figures. Quartiles are interpolated between the
// two figures beside them, as in definition 7 of Hyndman and Fan (1996), the one
// that most statistics programs use unless told otherwise.
func spreadOf(values []ofJob) (s spread, ok bool) {
	if len(values) == 0 {
		return s, false
	}
	sorted := slices.Clone(values)
	slices.SortFunc(sorted, func(a, b ofJob) int {
		switch {
		case a.value != b.value && a.value < b.value:
			return -1
		case a.value != b.value:
			return 1
		case a.job.Job < b.job.Job:
			return -1
		}
		return 1
	})
	last := len(sorted) - 1
	return spread{
		n: int64(len(sorted)), least: sorted[0].value, most: sorted[last].value,
		q1: quartile(sorted, 1), median: quartile(sorted, 2), q3: quartile(sorted, 3),
		leastJob: sorted[0].job, mostJob: sorted[last].job,
	}, true
}

// quartile returns the k-th quartile of figures in ascending order.
func quartile(sorted []ofJob, k int64) int64 {
	whole, rest := split(int64(len(sorted)-1)*k, 4)
	low := sorted[whole].value
	if rest == 0 {
		return low
	}
	return low + ratio(sorted[whole+1].value-low, rest, 4)
}
