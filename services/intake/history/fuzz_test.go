package history

import (
	"bytes"
	"os"
	"testing"

	"daysheet/events"
)

// FuzzRead: no sheet makes Read panic, what it returns can be recorded, and
// reading again gives the same events.
func FuzzRead(f *testing.F) {
	sheet, err := os.ReadFile("testdata/past-jobs.csv")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(sheet[:3000], false, false)
	f.Add([]byte(small), true, true)

	f.Add([]byte("job,date,kind,job type,product,quantity,unit,cost\n"+
		"a,1.1.25,material,x,p,-2,l,\"1.234,50\"\n"), false, true)
	f.Add([]byte("job;date;kind;job type;task;hours\n\";\n"), true, false)
	f.Fuzz(func(t *testing.T, text []byte, monthFirst, keep bool) {
		opts := Options{Firm: "quillmarsh", MonthFirst: monthFirst, KeepRepeats: keep, SkipBad: true, ListNew: true}
		plan, err := Read(bytes.NewReader(text), opts)
		if err != nil {
			if events.CodeOf(err) != events.Invalid {
				t.Fatal(err)
			}
			return
		}
		jobs := map[string]*events.Job{}
		if fresh := record(t, jobs, plan); fresh != plan.Summary.Events {
			t.Fatalf("%d new events of %d", fresh, plan.Summary.Events)
		}
		again, err := Read(bytes.NewReader(text), opts)
		if err != nil {
			t.Fatal(err)
		}
		if fresh := record(t, jobs, again); fresh != 0 {
			t.Fatalf("%d events were new the second time", fresh)
		}
		for _, e := range plan.Errors {
			if e.Line < 1 || e.Rule == "" || len(e.Value) > 100 {
				t.Fatalf("%+v", e)
			}
		}
	})
}

// FuzzReadEvents: no file makes ReadEvents panic, and what it returns is valid.
func FuzzReadEvents(f *testing.F) {
	f.Add([]byte(`{"specversion":"1.0","id":"00000001","source":"/x","type":"daysheet.hours.booked.v1","subject":"a",` +
		`"time":"2025-03-04T12:00:00Z","data":{"person":"quen","task":"wash","minutes":60}}` + "\n{}\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		batches, err := ReadEvents(bytes.NewReader(text))
		if err != nil && len(batches) > 0 {
			t.Fatal("events beside an error")
		}
		for _, batch := range batches {
			for i := range batch {
				if err := batch[i].Validate(); err != nil {
					t.Fatal(err)
				}
			}
		}
	})
}
