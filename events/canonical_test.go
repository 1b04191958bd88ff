package events

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
)

// TestNumbersOfRFC8785 is the table of RFC 8785 appendix B (IEEE 754 bits and
// what ECMAScript writes), and below it exponents that the table leaves out,
// as JSON.stringify of Node.js writes them.
func TestNumbersOfRFC8785(t *testing.T) {
	for _, test := range []struct {
		bits uint64
		want string
	}{
		{0x0000000000000000, "0"},
		{0x8000000000000000, "0"},
		{0x0000000000000001, "5e-324"},
		{0x8000000000000001, "-5e-324"},
		{0x7fefffffffffffff, "1.7976931348623157e+308"},
		{0xffefffffffffffff, "-1.7976931348623157e+308"},
		{0x4340000000000000, "9007199254740992"},
		{0xc340000000000000, "-9007199254740992"},
		{0x4430000000000000, "295147905179352830000"},
		{0x44b52d02c7e14af5, "9.999999999999997e+22"},
		{0x44b52d02c7e14af6, "1e+23"},
		{0x44b52d02c7e14af7, "1.0000000000000001e+23"},
		{0x444b1ae4d6e2ef4e, "999999999999999700000"},
		{0x444b1ae4d6e2ef4f, "999999999999999900000"},
		{0x444b1ae4d6e2ef50, "1e+21"},
		{0x3eb0c6f7a0b5ed8c, "9.999999999999997e-7"},
		{0x3eb0c6f7a0b5ed8d, "0.000001"},
		{0x41b3de4355555553, "333333333.3333332"},
		{0x41b3de4355555554, "333333333.33333325"},
		{0x41b3de4355555555, "333333333.3333333"},
		{0x41b3de4355555556, "333333333.3333334"},
		{0x41b3de4355555557, "333333333.33333343"},
		{0xbecbf647612f3696, "-0.0000033333333333333333"},
		{0x43143ff3c1cb0959, "1424953923781206.2"},

		{0x557863ba39f360c6, "5.4626389533071155e+103"},
		{0xfe54e1b84011758f, "-3.496084411457644e+300"},
	} {
		if got := string(appendNumber(nil, math.Float64frombits(test.bits))); got != test.want {
			t.Errorf("%016x is written %s, want %s", test.bits, got, test.want)
		}
	}
}

func TestCanonical(t *testing.T) {
	for _, test := range []struct{ name, in, want string }{
		{"RFC 8785 section 3.2.2", `{
			"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
			"string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
			"literals": [null, true, false]
		}`, `{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],` +
			`"string":"€$\u000f\nA'B\"\\\\\"/"}`},
		{"RFC 8785 section 3.2.3", `{
			"\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh", "1": "One",
			"\ud83d\ude00": "Emoji: Grinning Face", "\u0080": "Control", "\u00f6": "Latin Small Letter O With Diaeresis"
		}`, `{"\r":"Carriage Return","1":"One","` + "\u0080" + `":"Control","ö":"Latin Small Letter O With Diaeresis",` +
			`"€":"Euro Sign","😀":"Emoji: Grinning Face","` + "\ufb33" + `":"Hebrew Letter Dalet With Dagesh"}`},
		{"every escape of section 3.2.2.2", `"\u0008\u0009\u000a\u000c\u000d\u0000\u001F\u007f\/\\\""`,
			`"\b\t\n\f\r\u0000\u001f` + "\x7f" + `/\\\""`},
		{"two characters beyond the BMP", `{"😁":1,"😀":2}`, `{"😀":2,"😁":1}`},
		{"a name that starts another", `{"ab":1,"a":2,"":3}`, `{"":3,"a":2,"ab":1}`},
		{"the same letters, composed or not, are two names", `{"\u00c5":1,"A\u030a":2}`, "{\"A\u030a\":2,\"\u00c5\":1}"},
		{"objects in lists in objects", ` { "b" : [ { "d" : 1 , "c" : [ ] } , { } ] , "a" : "" } `,
			`{"a":"","b":[{"c":[],"d":1},{}]}`},
		{"more members than usual", `{"z":0,"y":1,"x":2,"w":3,"v":4,"u":5,"t":6,"s":7,"r":8,"q":9,"p":10,"o":11,"n":12,"m":13,` +
			`"l":14,"k":15,"j":16,"i":17,"h":18}`, `{"h":18,"i":17,"j":16,"k":15,"l":14,"m":13,"n":12,"o":11,"p":10,"q":9,` +
			`"r":8,"s":7,"t":6,"u":5,"v":4,"w":3,"x":2,"y":1,"z":0}`},
		{"zero", `[0,-0,0.0,-0.0e5,0e-999]`, `[0,0,0,0,0]`},
		{"whole numbers", `[9007199254740991,-9007199254740991,1e2,-1.50e1]`, `[9007199254740991,-9007199254740991,100,-15]`},
	} {
		got, err := Canonical([]byte(test.in))
		if err != nil || string(got) != test.want {
			t.Errorf("%s: got %s, %v\nwant %s", test.name, got, err, test.want)
			continue
		}
		if again, err := Canonical(got); err != nil || !bytes.Equal(again, got) {
			t.Errorf("%s: the canonical form of the canonical form is %s, %v", test.name, again, err)
		}
	}
}

func TestCanonicalRefuses(t *testing.T) {
	deep := strings.Repeat("[", 1_000_000)
	for _, test := range []struct{ name, in, want string }{
		{"nothing", ``, "not valid JSON: the text ends where a value is needed"},
		{"white space", " \n", "not valid JSON: the text ends where a value is needed"},
		{"two values", `1 2`, "not valid JSON: the end is needed at byte 2"},
		{"a comma too many", `[1,]`, "not valid JSON: a value is needed at byte 3"},
		{"no comma", `[1 2]`, "not valid JSON: a comma or the end of a list is needed at byte 3"},
		{"a name without quotes", `{a:1}`, "not valid JSON: a text in quotes is needed at byte 1"},
		{"no colon", `{"a" 1}`, "not valid JSON: a colon is needed at byte 5"},
		{"a leading zero", `01`, "not valid JSON: the end is needed at byte 1"},
		{"a leading plus", `+1`, "not valid JSON: a value is needed at byte 0"},
		{"a bare point", `1.`, "not valid JSON: the text ends where a digit is needed"},
		{"a bare exponent", `1e+`, "not valid JSON: the text ends where a digit is needed"},
		{"a bare minus", `-`, "not valid JSON: the text ends where a value is needed"},
		{"a word", `nul`, "not valid JSON: a value is needed at byte 0"},
		{"another word", `NaN`, "not valid JSON: a value is needed at byte 0"},
		{"an open text", `"a`, "not valid JSON: the text ends where a closing quote is needed"},
		{"an open escape", `"\`, "not valid JSON: the text ends where an escape is needed"},
		{"an unknown escape", `"\x"`, "not valid JSON: an escape of JSON is needed at byte 2"},
		{"a short escape", `"\u12"`, "not valid JSON: an escape of JSON is needed at byte 2"},
		{"a wrong escape", `"\u12g4"`, "not valid JSON: an escape with four hexadecimal digits is needed at byte 2"},
		{"a raw control character", "\"a\nb\"", "not valid JSON: an escape for a control character is needed at byte 2"},
		{"one behind an escape", "\"\\tb\nb\"", "not valid JSON: an escape for a control character is needed at byte 4"},
		{"a byte order mark", "\ufeff1", "not valid JSON: a value is needed at byte 0"},
		{"invalid UTF-8", "\"\xff\"", "not valid JSON: the text is not UTF-8"},
		{"a surrogate in UTF-8", "\"\xed\xa0\x80\"", "not valid JSON: the text is not UTF-8"},
		{"a high surrogate alone", `"\ud800"`, "a text holds half of a surrogate pair"},
		{"a low surrogate alone", `["\udc00"]`, "a text holds half of a surrogate pair"},
		{"a high surrogate before a letter", `"\ud800a"`, "a text holds half of a surrogate pair"},
		{"a high surrogate before another escape", `"\ud800\n"`, "a text holds half of a surrogate pair"},
		{"two high surrogates", `"\ud800\ud800"`, "a text holds half of a surrogate pair"},
		{"a lone surrogate in a name", `{"\udfff":1}`, "a text holds half of a surrogate pair"},
		{"a member twice", `{"a":1,"b":2,"a":1}`, "a: the member stands twice in one object"},
		{"the same, escaped", `{"a":1,"\u0061":1}`, "a: the member stands twice in one object"},
		{"the same, deeper", `{"x":[0,{"y":{"a":1,"a":1}}]}`, "x[1].y.a: the member stands twice in one object"},
		{"a name that would break a log line", "{\"a\\n\\u001b\":1,\"a\\n\\u001b\":1}", `"a\n\x1b": the member stands twice in one object`},
		{"2^53", `{"n":[9007199254740992]}`, "n[0] is 9007199254740992: the whole number is beyond 2^53-1 and would be rounded"},
		{"-2^53", `-9007199254740992`, "-9007199254740992: the whole number is beyond 2^53-1 and would be rounded"},
		{"2^64", `18446744073709551616`, "18446744073709551616: the whole number is beyond 2^53-1 and would be rounded"},
		{"10^20 with an exponent", `1E20`, "1E20: the whole number is beyond 2^53-1 and would be rounded"},
		{"10^22 in digits", `10000000000000000000000`,
			"10000000000000000000000: the whole number is beyond 2^53-1 and would be rounded"},
		{"too great", `1e309`, "1e309: the number is too great for a double"},
		{"too small", `1e-400`, "1e-400: the number is too small for a double"},
		{"a depth bomb", deep, "nested deeper than 32"},
		{"a depth bomb of objects", strings.Repeat(`{"a":`, 1_000_000), "nested deeper than 32"},
	} {
		got, err := Canonical([]byte(test.in))
		if CodeOf(err) != Invalid || !strings.HasSuffix(fmt.Sprint(err), test.want) {
			t.Errorf("%s: got %.80s, %v, want %s", test.name, got, err, test.want)
		}
	}
	if _, err := Canonical([]byte(strings.Repeat("[", 32) + strings.Repeat("]", 32))); err != nil {
		t.Errorf("32 levels: %v", err)
	}
}

// TestEqualValuesHaveEqualBytes writes random values in random ways and wants
// one form of each, which encoding/json reads as the same value.
func TestEqualValuesHaveEqualBytes(t *testing.T) {
	const seed = 20260304
	r := rand.New(rand.NewPCG(seed, 0))
	for n := range 2_000 {
		value := randomValue(r, 3)
		one, other := scribble(r, value), scribble(r, value)
		a, errA := Canonical([]byte(one))
		b, errB := Canonical([]byte(other))
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Fatalf("seed %d, value %d:\n%s\n%s\nare\n%s, %v\n%s, %v", seed, n, one, other, a, errA, b, errB)
		}
		if again, err := Canonical(a); err != nil || !bytes.Equal(again, a) {
			t.Fatalf("seed %d, value %d: %s becomes %s, %v", seed, n, a, again, err)
		}
		want, err := json.Marshal(value)
		if err != nil {
			t.Fatal(err)
		}
		if !equalJSON(t, a, want) {
			t.Fatalf("seed %d, value %d: %s is not %s", seed, n, a, want)
		}
	}
}

func randomValue(r *rand.Rand, depth int) any {
	kinds := 6
	if depth == 0 {
		kinds = 4
	}
	switch r.IntN(kinds) {
	case 0:
		return randomText(r)
	case 1:
		return float64(r.Int64N(1<<53) - 1<<52)
	case 2:
		return r.NormFloat64() * math.Pow(10, float64(r.IntN(30)-20)) / 3
	case 3:
		return []any{nil, true, false}[r.IntN(3)]
	case 4:
		list := []any{}
		for range r.IntN(4) {
			list = append(list, randomValue(r, depth-1))
		}
		return list
	}
	object := map[string]any{}
	for range r.IntN(20) {
		object[randomText(r)] = randomValue(r, depth-1)
	}
	return object
}

func randomText(r *rand.Rand) string {
	letters := []rune("ab\"\\/\n\x00\x1f\x7f é€\ufb33\uffff😀😁")
	text := make([]rune, r.IntN(4))
	for i := range text {
		text[i] = letters[r.IntN(len(letters))]
	}
	return string(text)
}

// scribble writes a value as JSON with members in any order, white space
// anywhere, and texts escaped or not.
func scribble(r *rand.Rand, value any) string {
	space := []string{"", " ", "\n", "\t\r "}[r.IntN(4)]
	switch v := value.(type) {
	case string:
		var b strings.Builder
		for _, c := range v {
			switch {
			case r.IntN(2) == 0 && c <= 0xffff:
				fmt.Fprintf(&b, `\u%04X`, c)
			case c < 0x20 || c == '"' || c == '\\':
				fmt.Fprintf(&b, `\u%04x`, c)
			default:
				b.WriteRune(c)
			}
		}
		return space + `"` + b.String() + `"` + space
	case []any:
		items := make([]string, len(v))
		for i := range v {
			items[i] = scribble(r, v[i])
		}
		return space + "[" + space + strings.Join(items, ",") + "]" + space
	case map[string]any:
		var members []string // in the order of the map, which Go makes random
		for name, inner := range v {
			members = append(members, scribble(r, name)+":"+scribble(r, inner))
		}
		return space + "{" + space + strings.Join(members, ",") + "}" + space
	case float64:
		return space + []string{fmt.Sprintf("%v", v), fmt.Sprintf("%.17E", v)}[r.IntN(2)] + space
	}
	return space + strings.ReplaceAll(fmt.Sprint(value), "<nil>", "null") + space
}

// equalJSON reports whether encoding/json reads a and b as the same value.
func equalJSON(t *testing.T, a, b []byte) bool {
	t.Helper()
	return reflect.DeepEqual(decoded(t, a), decoded(t, b)) // -0 is 0
}
