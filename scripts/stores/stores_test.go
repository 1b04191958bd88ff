package main

import (
	"encoding/json"
	"errors"
	"flag"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"daysheet/reports"
	"daysheet/services/facts"
)

func all(number int, seed uint64) []facts.Batch { return slices.Collect(batches(number, seed)) }

func TestBatches(t *testing.T) {
	const number = 120_000
	made := all(number, 1)
	ofFirm, positions := map[string]int{}, map[uint8]uint64{}
	kinds, sides, total := map[reports.Kind]bool{}, map[reports.Side]bool{}, 0
	held := map[string]int{} // facts of an event and kind that count
	for _, b := range made {
		if err := b.Validate(); err != nil {
			t.Fatal(err)
		}
		if rest, err := b.After(positions[b.Partition]); err != nil || len(rest.Commits) != len(b.Commits) {
			t.Fatalf("batch of partition %d up to %d does not go on at %d: %v",
				b.Partition, b.Position, positions[b.Partition], err)
		}
		positions[b.Partition] = b.Position
		total += len(b.Facts)
		for i := range b.Facts {
			f := &b.Facts[i]
			ofFirm[f.Firm]++
			kinds[f.Kind], sides[f.Side] = true, true
			slot := f.EventID + string(f.Kind) + f.Task + f.Product
			if held[slot] += int(f.Sign); held[slot] < 0 {
				t.Fatalf("fact %d/%d takes back what does not count", f.Sequence, f.Line)
			}
		}
	}
	if total < number || total > number+number/100 {
		t.Errorf("%d facts, asked for %d", total, number)
	}
	if share := ofFirm[bigFirm]; len(ofFirm) != firmsOfRun || share < total*49/100 || share > total*51/100 {
		t.Errorf("%d of %d facts are of the big firm, of %d firms", share, total, len(ofFirm))
	}
	if len(kinds) != 11 || len(sides) != 3 {
		t.Errorf("kinds %v and sides %v are not all there are", kinds, sides)
	}
}

func TestBatchesDependOnTheSeedAlone(t *testing.T) {
	write := func(seed uint64) string {
		raw, err := json.Marshal(all(40_000, seed))
		if err != nil {
			t.Fatal(err)
		}
		return string(raw)
	}
	first := write(7)
	if write(7) != first {
		t.Error("the same seed gives other batches")
	}
	if write(8) == first {
		t.Error("another seed gives the same batches")
	}
}

func TestRowsByColumn(t *testing.T) {
	b := all(10_000, 1)[0]
	for _, table := range tablesOf(b) {
		columns := byColumn(table.rows)
		if len(columns) != len(table.columnNames()) || len(table.rows) == 0 {
			t.Fatalf("%s has %d columns and %d rows", table.name, len(columns), len(table.rows))
		}
		for i, c := range columns {
			if c == nil {
				t.Errorf("%s: column %s has no type", table.name, table.columnNames()[i])
			}
		}
	}
}

func TestNumbered(t *testing.T) {
	for text, want := range map[string]string{
		"SELECT 1": "SELECT 1", "a = ? AND b IN (?, ?)": "a = $1 AND b IN ($2, $3)",
	} {
		if got := numbered(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}

func TestBadFlags(t *testing.T) {
	missing := filepath.Join(t.TempDir(), "missing")
	for _, args := range [][]string{
		{"--facts", "9999"}, {"--facts", "1e6"}, {"--facts", "100000001"}, {"--runs", "4"}, {"--runs", "-1"},
		{"--seed", "-1"}, {"--duckdb-memory", "-1"}, {"--folder", missing}, {"--out", missing + "/t.md"},
		{"--out", t.TempDir()}, {"--fact", "10000"}, {"10000"},
	} {
		_, err := parse(args)
		if err == nil {
			t.Errorf("%v was taken", args)
			continue
		}
		name, value := strings.TrimLeft(args[0], "-"), args[len(args)-1]
		if !strings.Contains(err.Error(), name) || !strings.Contains(err.Error(), value) && name != "fact" {
			t.Errorf("%v: %v: it does not say which value is wrong", args, err)
		}
	}
	if _, err := parse([]string{"--help"}); !errors.Is(err, flag.ErrHelp) {
		t.Errorf("--help: %v", err)
	}
	o, err := parse([]string{"--facts", "10000", "--seed", "3", "--runs", "1", "--duckdb-memory", "512"})
	if err != nil || o.facts != 10_000 || o.seed != 3 || o.runs != 1 || o.memory != 512 {
		t.Errorf("%+v, %v", o, err)
	}
}
