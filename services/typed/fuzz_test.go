package typed

import (
	"fmt"
	"strings"
	"testing"

	"daysheet/events"
)

// FuzzTyped: whatever is typed is refused with a rule or read within its bounds, what
// was read is read the same when it is written plainly, and a spreadsheet gets no
// formula out of it.
func FuzzTyped(f *testing.F) {
	for _, seed := range []string{"12.5", "1.234,50", "-3,25", "€ 4.800,00", "1:30", "1 h 30 min", "90 min", "0.333333333333",
		"1.123456789 days", "4.3.2025", "2025-03-04T07:30", "4 Mar 2025", "Sq. m", "Rub down", "J 104/b Größe", "=1+1", "'=1+1",
		"''\t@x", "\r-1", "\u2212 1\u202f234", "999999999999999", "9999:59", ""} {
		f.Add(seed, true)
	}
	f.Fuzz(func(t *testing.T, text string, flag bool) {
		checkAmounts(t, text, map[bool]Decimal{false: DecimalComma, true: DecimalPoint}[flag])
		checkHours(t, text)
		if day, rule := Day(text, flag); rule == "" {
			if again, _ := Day(string(day), flag); again != day || !day.Valid() {
				t.Errorf("%q is the day %q, and that %q", text, day, again)
			}
		}
		if u, ok := Unit(text); ok && !u.Known() {
			t.Errorf("%q is the unit %q", text, u)
		}
		if task, ok := Task(text, nil); ok {
			if again, _ := Task(task.Task, nil); again != task {
				t.Errorf("%q is the task %v, and that %v", text, task, again)
			}
		}
		if key := Key(text); key != "" && len(key) <= 64 && (!events.ValidToken(key) || Key(key) != key) {
			t.Errorf("%q makes the key %q", text, key)
		}
		if got := Bare(Harmless(text)); got != text {
			t.Errorf("%q comes back from a spreadsheet as %q", text, got)
		}
		if out := Harmless(text); out != "" && strings.Contains("=+-@\t\r\n", out[:1]) {
			t.Errorf("%q goes out as %q", text, out)
		}
	})
}

func checkAmounts(t *testing.T, text string, mark Decimal) {
	for decimals, read := range map[int]func(string, Decimal) (int64, string){
		moneyDecimals: Money, milliDecimals: Quantity,
		9: func(s string, m Decimal) (int64, string) { return Number(s, 9, m) },
	} {
		n, rule := read(text, mark)
		if rule != "" {
			if n != 0 {
				t.Errorf("%q is refused (%s) and is %d", text, rule, n)
			}
			continue
		}
		one, sign, size := int64(1), "", n
		for range decimals {
			one *= 10
		}
		if n < 0 {
			sign, size = "-", -n
		}
		plain := fmt.Sprintf("%s%d.%0*d", sign, size/one, decimals, size%one)
		if again, rule := read(plain, DecimalPoint); rule != "" || again != n {
			t.Errorf("%q is %d with %d decimals, and %q is %d (%s)", text, n, decimals, plain, again, rule)
		}
	}
}

func checkHours(t *testing.T, text string) {
	minutes, rule := Hours(text)
	exact, exactRule := ExactHours(text)
	if exactRule == "" && (rule != "" || exact != minutes) {
		t.Errorf("%q is exactly %d min, and %d (%s)", text, exact, minutes, rule)
	}
	if rule != "" {
		return
	}
	if again, rule := ExactHours(fmt.Sprintf("%d min", minutes)); minutes < 0 || rule != "" || again != minutes {
		t.Errorf("%q is %d min, and read again %d (%s)", text, minutes, again, rule)
	}
	// Of letters, only those of hours and minutes are passed over.
	if rest := strings.Trim(strings.ToLower(text), "hoursminte. \t\r\n\v\f\u00a0\u2009\u202f\u0085\u2028\u2029"); strings.ContainsFunc(rest,
		func(r rune) bool { return r >= 'a' && r <= 'z' && r != 'h' }) {
		t.Errorf("%q is taken for %d min", text, minutes)
	}
}
