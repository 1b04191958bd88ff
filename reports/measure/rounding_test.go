package measure

import (
	"math"
	"testing"
)

func TestNearest(t *testing.T) {
	const most, least = math.MaxInt64, math.MinInt64
	for _, c := range []struct{ a, b, c, want int64 }{
		{5, 7, 0, 0}, {0, 5, 7, 0}, {1, 1, 2, 1}, {-1, 1, 2, -1}, {1, 1, -2, -1}, {1, 1, 3, 0}, {2, 1, 3, 1}, {-2, 1, 3, -1},
		{most, most, most, most}, {most, 2, 1, most}, {most, -2, 1, least}, {least, 1, 1, least},
	} {
		if got := nearest(c.a, c.b, c.c); got != c.want {
			t.Errorf("nearest(%d, %d, %d) = %d, want %d", c.a, c.b, c.c, got, c.want)
		}
	}
}

func TestWhole(t *testing.T) {
	for _, c := range []struct{ a, b, c, want int64 }{
		{0, 1, 1, 0}, {1, 1, 1, 1}, {6, 2, 3, 1}, {7, 2, 3, 2}, {12, 2, 3, 2}, {5, 0, 1, 0}, {-5, 1, 1, 0},
		{math.MaxInt64, 1, 1, math.MaxInt64}, {math.MaxInt64, math.MaxInt64, 2, 1},
	} {
		if got := whole(c.a, c.b, c.c); got != c.want {
			t.Errorf("whole(%d, %d, %d) = %d, want %d", c.a, c.b, c.c, got, c.want)
		}
	}
}

func TestShareRoundsOnce(t *testing.T) {
	for _, c := range []struct{ a, b, c, step, want int64 }{
		{495, 1000, 10_000, 100, 0}, {500, 1000, 10_000, 100, 100}, {-500, 1000, 10_000, 100, -100}, {1255, 1, 1, 10, 1260},
		{1255, 1, 1, 0, 1255}, {1, 1, 0, 10, 0},
	} {
		if got := share(c.a, c.b, c.c, c.step); got != c.want {
			t.Errorf("share(%d, %d, %d, %d) = %d, want %d", c.a, c.b, c.c, c.step, got, c.want)
		}
	}
}
