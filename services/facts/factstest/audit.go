package factstest

import (
	"maps"
	"testing"

	"daysheet/events"
	"daysheet/services/facts"
)

func (b *bench) auditor() facts.Auditor {
	b.t.Helper()
	a, ok := b.store.(facts.Auditor)
	if !ok {
		b.t.Fatalf("%T is no facts.Auditor", b.store)
	}
	return a
}

func (b *bench) tallies(s facts.Span) facts.Tallies {
	b.t.Helper()
	tallies, err := b.auditor().Tallies(b.t.Context(), s)
	if err != nil {
		b.t.Fatalf("tallies of %+v: %v", s, err)
	}
	return tallies
}

// tallied adds a batch up row by row, in another way than the batch does.
func tallied(b facts.Batch, s facts.Span) facts.Tallies {
	want := facts.Tallies{}
	for first := s.From / s.Width * s.Width; first <= s.To; first += s.Width {
		var t facts.Tally
		in := func(sequence uint64) bool {
			return sequence/s.Width == first/s.Width && sequence >= s.From && sequence <= s.To
		}
		for _, f := range b.Facts {
			if in(f.Sequence) {
				t.Facts++
				t.Signs += int64(f.Sign)
				t.Minutes += int64(f.Sign) * f.Minutes
				t.QuantityMilli += int64(f.Sign) * f.QuantityMilli
				t.CostE4 += int64(f.Sign) * f.CostE4
			}
		}
		for _, j := range b.Jobs {
			if in(j.Sequence) {
				t.Jobs++
			}
		}
		for _, c := range b.Commits {
			if in(c.Sequence) {
				t.Commits++
				t.Sequences += int64(c.Sequence)
				t.Bytes += int64(len(c.Raw))
			}
		}
		if t != (facts.Tally{}) {
			want[first] = t
		}
	}
	return want
}

// testTallies compares the tallies of random history with a plain count, in ranges
// of several widths; another partition in the store must not count.
func testTallies(t *testing.T, b *bench) {
	h := NewHistory(t, 150)
	other := filled(Partition + 1)
	for i := range other.facts {
		other.facts[i].Firm = "another" // a firm is in one partition
	}
	for i := range other.jobs {
		other.jobs[i].Firm = "another"
	}
	b.write(h.Batch(0, h.Last()))
	b.write(other.all())
	for _, s := range []facts.Span{
		{From: 1, To: 150, Width: 1}, {From: 1, To: 150, Width: 10}, {From: 1, To: 150, Width: 10_000},
		{From: 37, To: 111, Width: 7}, {From: 90, To: 90, Width: 1}, {From: 140, To: 900, Width: 50},
		{From: 151, To: 200, Width: 1},
	} {
		s.Partition = Partition
		want := tallied(h.Batch(0, h.Last()), s)
		if got := b.tallies(s); !maps.Equal(got, want) {
			t.Fatalf("tallies of %+v:\n got %+v\nwant %+v", s, got, want)
		}
		if s.From == 1 && s.To == 150 {
			if got := s.Of(h.Batch(0, h.Last())); !maps.Equal(got, want) {
				t.Fatalf("tallies of the batch by %d:\n got %+v\nwant %+v", s.Width, got, want)
			}
		}
	}
	for _, c := range []struct {
		span  facts.Span
		field string
	}{
		{facts.Span{From: 1, To: 2}, "width"}, {facts.Span{From: 0, To: 2, Width: 1}, "to"},
		{facts.Span{From: 3, To: 2, Width: 1}, "to"},
	} {
		_, err := b.auditor().Tallies(t.Context(), c.span)
		refused(t, err, c.field)
	}
}

// testMend writes commits of which rows are missing or have other figures, as a
// server leaves them that lost a part, and mends them.
func testMend(t *testing.T, b *bench) {
	h := NewHistory(t, 60)
	spoilt := h.Batch(0, 60)
	spoilt.Facts = spoilt.Facts[:0:0]
	for _, f := range h.Batch(0, 60).Facts {
		switch {
		case f.Sequence >= 20 && f.Sequence <= 30: // lost
		case f.Sequence == 40:
			f.Minutes++
			spoilt.Facts = append(spoilt.Facts, f)
		default:
			spoilt.Facts = append(spoilt.Facts, f)
		}
	}
	spoilt.Jobs = spoilt.Jobs[:0:0]
	for _, j := range h.Batch(0, 60).Jobs {
		if j.Sequence < 25 || j.Sequence > 35 {
			spoilt.Jobs = append(spoilt.Jobs, j)
		}
	}
	spoilt.Commits = append([]events.Stored(nil), spoilt.Commits...)
	spoilt.Commits[49].Raw = []byte("altered")
	b.write(spoilt)
	span := facts.Span{Partition: Partition, From: 1, To: 60, Width: 1}
	want := tallied(h.Batch(0, 60), span)
	if maps.Equal(b.tallies(span), want) {
		t.Fatal("the tallies do not see what is missing")
	}
	mend := func(batch facts.Batch) {
		t.Helper()
		if err := b.auditor().Mend(t.Context(), batch); err != nil {
			t.Fatalf("mend: %v", err)
		}
	}
	for range 2 { // again changes nothing
		mend(h.Batch(19, 36))
		mend(h.Batch(0, 60).Part(40, 40))
		mend(h.Batch(49, 50))
		if got := b.tallies(span); !maps.Equal(got, want) {
			t.Fatalf("tallies after mending:\n got %+v\nwant %+v", got, want)
		}
	}
	h.Check(t, b.store, 60, 15)
	b.reopen()
	h.Check(t, b.store, 60, 15)
}

// testBadMend: what is no valid batch, or lies beyond the position, changes nothing.
func testBadMend(t *testing.T, b *bench) {
	book := filled(3)
	b.write(book.batch(0, 20))
	bad := book.batch(4, 10)
	bad.Position++
	for name, batch := range map[string]facts.Batch{
		"beyond": book.batch(20, 30), "partly beyond": book.batch(15, 21), "not valid": bad, "empty": {Partition: 3},
	} {
		if err := b.auditor().Mend(t.Context(), batch); err == nil {
			t.Fatalf("%s: the batch was taken", name)
		}
		b.equals(book, 20)
	}
	b.write(book.batch(20, 40))
	b.equals(book, 40)
}
