package history

import (
	"slices"
	"strings"
	"testing"
)

// TestRowsAreRefusedByTheirOwnHeads: what is wrong with a row is said of the column as it
// stands in the header of the file, in every table.
func TestRowsAreRefusedByTheirOwnHeads(t *testing.T) {
	for _, c := range []struct {
		table Table
		text  string
		want  string
	}{
		{People, "Name; LOHNGRUPPE ;Schlüssel\nTarn;Gehilfe;\n", `line 2: LOHNGRUPPE is "Gehilfe": one of the grades`},
		{People, "Name;Lohngruppe;Schlüssel\nTarn;painter;tarn\nBo;painter;tarn\n", `line 3: Schlüssel is "tarn": it stands twice`},
		{Grades, "Lohngruppe;Stundensatz\nPainter;viel\n", `line 2: Stundensatz is "viel": a number`},
		{Jobs, "Bezeichnung;Auftragsart;Baujahr\nFlur;stairwell;12\n", `line 2: Baujahr is "12": a whole number from 1000`},
		{Rates, "Tätigkeit;Minuten;Menge\ncoat;1;5\n", `line 2: product: say which product`}, // no such column in the file
		{Counts, "Tag;Produkt;Bestand\n2026-06-30;wall-matt;-1\n", `line 2: Bestand is "-1": not negative`},
		{Purchases, "Datum;Produkt;Menge;Kosten\n2026-03-04;wall-matt;\t;1\n", `line 2: Menge: it must be given`},
		{Products, "Name;Einheit;\"Preis\nnetto\";Preis\nTape;roll;1;teuer\n", `line 3: Preis is "teuer": a number`},
	} {
		plan := readTableOf(t, c.table, c.text, listOptions())
		if len(plan.Errors) != 1 || !strings.HasPrefix(plan.Errors[0].Error(), c.want) {
			t.Errorf("%s %q: %v, not %s", c.table, c.text, plan.Errors, c.want)
		}
	}
	plan := readTableOf(t, Products, "Name;Unit;\"Price\n(list)\";price;\nTape;roll;;1;\n", listOptions())
	if !slices.Equal(plan.Summary.UnknownColumns, []string{"Price (list)"}) || len(plan.Errors) != 0 {
		t.Errorf("passed over: %q, %v", plan.Summary.UnknownColumns, plan.Errors)
	}
	_, wrong, err := ReadTakeOff(strings.NewReader("Raum;Länge;Tätigkeit;Gemessen an\nFlur;lang;coat;Dach\n"),
		listOptions())
	if err != nil || len(wrong) != 2 || wrong[0].Column != "Länge" || wrong[1].Column != "Gemessen an" {
		t.Errorf("a take-off: %v, %v", wrong, err)
	}
	customers, err := ReadCustomers(strings.NewReader("Unsere Kunden\nName;Kunde\nIris;C 4\n"))
	if err != nil || len(customers.Rows) != 1 {
		t.Fatalf("%+v, %v", customers, err)
	}
	if e := customers.Refuse(customers.Rows[0], "customer", "a key"); e.Error() != `line 3: Kunde is "C 4": a key` {
		t.Errorf("a customer: %s", e.Error())
	}
}
