package facts_test

import (
	"crypto/sha256"
	"fmt"
	"testing"

	"daysheet/services/facts"
)

// TestSchemaIsOfTheColumns: other columns are another number, or a store would
// take the tables of before for its own.
func TestSchemaIsOfTheColumns(t *testing.T) {
	const number, sum = 3, "2d0c690a94795923"
	columns := facts.FactColumns + "; " + facts.JobColumns
	now := fmt.Sprintf("%x", sha256.Sum256([]byte(columns)))[:16]
	switch {
	case now != sum && facts.Schema == number:
		t.Fatalf("the columns are others than those of number %d; raise facts.Schema by one", number)
	case now != sum || facts.Schema != number:
		t.Fatalf("note here that number %d has the columns with the sum %s", facts.Schema, now)
	}
}
