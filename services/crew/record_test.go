package crew

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/services/crew/phonetest"
)

// newPhone starts a browser that is signed in with a token.
func newPhone(t *testing.T, s *stack, token string) *phonetest.Phone {
	t.Helper()
	p, _ := phonetest.Start(t, s.address, s.line, t.TempDir())
	p.SignIn(s.secrets[token])
	return p
}

// ready opens a job on a phone that knows who uses it.
func ready(t *testing.T, s *stack) *phonetest.Phone {
	t.Helper()
	tell(s)
	p := newPhone(t, s, "van-2")
	p.Open("/crew")
	phonetest.Eval[bool](p, `(() => { const me = document.querySelector('#me'); me.value = 'una'; return me.dispatchEvent(new Event('change')) })()`)
	p.Wait(`(await all('kept')).some((k) => k.key === 'me' && k.person === 'una')`)
	p.Open("/crew/jobs/" + flat)
	return p
}

// TestEachKindInThreeTaps records each kind of entry from the page of the job. What
// is typed needs no tap: the keyboard leads from field to field.
func TestEachKindInThreeTaps(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	for _, c := range []struct {
		name string
		taps []string
		fill [][2]string
		want string
	}{
		{"hours", []string{"Hours", "Coat surface", "Save"}, [][2]string{{"minutes", "7:30"}, {"location", "Kitchen"}},
			`hours.booked {"location":"Kitchen","minutes":450,"person":"una","task":"coat"}`},
		{"hours as before", []string{"Hours", "Save"}, nil, `hours.booked {"minutes":450,"person":"una","task":"coat"}`},
		{"hours in tenths", []string{"Hours", "Save"}, [][2]string{{"minutes", "6,5"}},
			`hours.booked {"minutes":390,"person":"una","task":"coat"}`},
		{"coat", []string{"Coat", "Coat surface", "Save"}, [][2]string{{"quantity_milli", "42,5"}, {"location", "Hall"}},
			`coat.applied {"coat":1,"location":"Hall","quantity_milli":42500,"task":"coat","unit":"m2"}`},
		{"laid", []string{"Protection laid", "Mask edge", "Save"}, [][2]string{{"quantity_milli", "12"}},
			`protection.laid {"quantity_milli":12000,"task":"mask-edge","unit":"m"}`},
		{"checked", []string{"Checked: Mask edge, 18.4 m", "In order", "Save"}, nil,
			`protection.checked {"finding":"In order","laid":"` + laidID + `","sound":true}`},
		{"lifted", []string{"Lifted: Mask edge, 18.4 m", "Save"}, nil, `protection.lifted {"laid":"` + laidID + `"}`},
		{"returned", []string{"Material returned", "Tape, 30 mm", "Save"}, [][2]string{{"quantity_milli", "1"}},
			`material.returned {"product":"tape","quantity_milli":1000,"unit":"roll"}`},
		{"prepared", []string{"Prepared", "Fill", "Save"}, [][2]string{{"quantity_milli", "3"}},
			`surface.prepared {"quantity_milli":3000,"task":"fill","unit":"m2"}`},
		{"material", []string{"Material used", "Tape, 30 mm", "Save"}, [][2]string{{"quantity_milli", "2"}},
			`material.used {"product":"tape","quantity_milli":2000,"unit":"roll"}`},
		{"damage", []string{"Damage", "Ours", "Save"}, [][2]string{{"location", "Hall"}, {"item", "Door"}, {"finding",
			"dent"}},
			`damage.found {"cause":"ours","finding":"dent","item":"Door","location":"Hall"}`},
		{"made good", []string{"Made good: scratch", "Save"}, [][2]string{{"work", "oiled"}},
			`damage.made-good {"damage":"` + damageID + `","work":"oiled"}`},
		{"snag", []string{"Snag", "The customer", "Save"}, [][2]string{{"location", "Hall"}, {"finding", "edge not " +
			"straight"}},
			`snag.raised {"finding":"edge not straight","location":"Hall","raised_by":"customer"}`},
		{"cleared", []string{"Cleared: run on the door frame", "Save"}, nil, `snag.cleared {"snag":"` + snagID + `"}`},
		{"condition", []string{"Condition before", "It was damaged", "Save"}, [][2]string{{"location", "Bath"},
			{"finding", "cracked tile"}},
			`condition.recorded {"damaged":true,"finding":"cracked tile","location":"Bath"}`},
		{"note", []string{"Note", "Save"}, [][2]string{{"text", "Key is with the neighbour"}},
			`note.added {"text":"Key is with the neighbour"}`},
		{"note for the customer", []string{"Note", "The customer may", "Save"}, [][2]string{{"text", "Dry on Monday"},
			{"location", "Hall"}},
			`note.added {"for_customer":true,"location":"Hall","text":"Dry on Monday"}`},
	} {
		t.Run(c.name, func(t *testing.T) {
			before := len(s.ledger(flat, 0))
			p.T = t
			p.Open("/crew/jobs/" + flat)
			p.Taps = 0
			for i, text := range c.taps {
				if i == len(c.taps)-1 {
					for _, f := range c.fill {
						p.Fill(f[0], f[1])
					}
				}
				p.Tap(text)
			}
			p.Wait(`location.hash === '' && document.querySelector('form') === null`)
			p.Sent()
			if got := s.payloads(before); !slices.Equal(got, []string{c.want}) {
				t.Errorf("the ledger has\n%s\nnot\n%s", strings.Join(got, "\n"), c.want)
			}
			if p.Taps > 3 {
				t.Errorf("it took %d taps", p.Taps)
			}
		})
	}
	p.T = t
}

// TestRepeatAndTakeBack books the hours of the last day again with one tap, opens one
// of them for change, and takes entries back, sent or not.
func TestRepeatAndTakeBack(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	before := len(s.ledger(flat, 0))
	p.Tap("All 2 hours as on ")
	p.Wait(`(await count('done')) === 2`)
	want := []string{`hours.booked {"location":"Kitchen","minutes":395,"person":"una","task":"coat"}`,
		`hours.booked {"location":"\u003cb\u003eHall\u003c/b\u003e","minutes":125,"person":"bo","task":"mask-edge"}`}
	if got := s.payloads(before); !slices.Equal(got, want) {
		t.Errorf("booked again: %s", strings.Join(got, "\n"))
	}
	for _, e := range s.ledger(flat, before) {
		if e.Day() != events.DayOf(time.Now()) {
			t.Errorf("it was booked on %s", e.Day())
		}
	}
	if n := phonetest.Eval[int](p, `document.querySelectorAll('main b').length`); n != 0 {
		t.Error("what was recorded was read as markup")
	}
	p.Tap("Same again: 6:35 hours")
	p.Fill("minutes", "5:00")
	p.Save()
	p.Sent()

	before = len(s.ledger(flat, 0))
	p.Tap("Take back: 5:00 hours, Una")
	p.Tap("Wrong amount")
	p.Tap("Take back")
	p.Wait(`document.querySelector('form') === null`)
	p.Sent()
	if got := s.payloads(before); len(got) != 1 || !strings.Contains(got[0], `"reason":"Wrong amount"`) {
		t.Errorf("taken back: %q", got)
	}
	p.Wait(`clickable('Take back: 5:00 hours') === undefined`)

	s.line.Cut(true)
	p.Tap("Hours")
	p.Fill("minutes", "1:00")
	p.Tap("Coat surface")
	p.Tap("Save")
	p.Wait(`(await count('waiting')) === 1 && state().includes('1 waiting')`)
	p.Tap("Take back: 1:00 hours")
	p.Tap("Entered twice")
	p.Tap("Take back")
	p.Wait(`(await count('waiting')) === 0 && (await all('drafts')).length === 0`)
	p.OnLine()
	p.Sent()
	if got := s.payloads(before + 1); len(got) != 0 {
		t.Errorf("taken back before it was sent, and yet: %q", got)
	}
}

// TestCoversThatCanHurt says what to mind where a detector or a light is covered: while it
// is entered, and on the page of the job until it is free again.
func TestCoversThatCanHurt(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	p.Tap("Protection laid")
	p.Wait(`(() => { const far = document.querySelector('#f-task details'); if (far) far.open = true; return far !== null })()`)
	p.Tap("Protect detector")
	p.Wait(`document.querySelector('[data-caution]').textContent.startsWith('A covered detector does not warn')`)
	p.Fill("quantity_milli", "1")
	p.Save()
	p.Sent()
	p.Wait(`document.querySelector('main').innerText.includes('Protect detector, 1 piece')`)
	text := p.Shown()
	detector, edge := strings.Index(text, "A covered detector does not warn"), strings.Index(text, "Mask edge, 18.4 m")
	if detector < 0 || edge < detector {
		t.Errorf("the page of the job says %s", text)
	}
	p.Open("/crew")
	p.Wait(`document.querySelector('main').innerText.includes('A covered detector does not warn')`)
}

// TestMissingAndWrong says beside each field what is wrong with it, and stores nothing.
func TestMissingAndWrong(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	for _, c := range []struct{ kind, field, text, says string }{
		{"Hours", "minutes", "", "Hours is missing."},
		{"Hours", "minutes", "7:99", "Write hours such as 7:30 or 7.5."},
		{"Hours", "minutes", "7.33", "Write hours such as 7:30 or 7.5."},
		{"Coat", "quantity_milli", "-3", "Write a number such as 12 or 12.5."},
		{"Coat", "quantity_milli", "0", "Write an amount greater than 0."},
		{"Coat", "coat", "two", "Write a whole number."},
		{"Coat", "volume_milli", "4", "Say which product was used."},
		{"Snag", "finding", "", "What is not right yet is missing."},
		{"Note", "text", "", "Note is missing."},
		{"Photo and note", "caption", "dry", "Photo is missing."},
	} {
		t.Run(fmt.Sprint(c.kind, c.text), func(t *testing.T) {
			p.T = t
			p.Open("/crew/jobs/" + flat)
			p.Tap(c.kind)
			p.Fill(c.field, c.text)
			p.Tap("Save")
			p.Wait(fmt.Sprintf(`[...document.querySelectorAll('.problem[data-of]')].some((e) => e.textContent === %q)`, c.says))
		})
	}
	p.T = t
	if n := phonetest.Eval[int](p, `(await all('outbox')).length`); n != 0 {
		t.Errorf("%d entries were stored", n)
	}
}
