package handover

import (
	"context"
	"flag"
	"os"
	"slices"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/services/httpd/browsertest"
)

var update = flag.Bool("update", false, "rewrite the expected text of the German paper; read the difference before "+
	"you keep it")

// germanLedger holds an invented firm that speaks the given locale, and a small job of it.
func germanLedger(t *testing.T, locale string) (l *ledger, variation string) {
	t.Helper()
	l = newLedger(t, "invented")
	l.record(events.FirmJob, events.FirmSettingsChanged, "2026-01-05", &events.Settings{Name: "Grünbäck & Söhne " +
		"(erfunden)",
		Currency: "EUR", TimeZone: "Europe/Vienna", Locale: locale, VATBasisPoints: 2000,
		JobTypes: []events.JobType{{JobType: "flat", Name: "Wohnungsrenovierung"}},
		Grades:   []events.Grade{{Grade: "painter", CostPerHourE4: 384500}},
		People:   []events.FirmPerson{{Person: "joerg", Name: "Jörg", Grade: "painter"}},
		Warranty: "Zwei Jahre auf unsere Ausführung."})
	l.record(events.FirmJob, events.ProductListed, "2026-01-05", &events.Product{Product: "wandfarbe",
		Name: "Wandfarbe weiß (erfunden)", Unit: events.Litre, PriceE4: 90_000, VolumeSolidsBasisPoints: 4000,
		RecoatMinutes: 240, Sheen: "matt", Care: "Mit weichem, feuchtem Tuch abwischen."})
	l.record("kueche", events.JobOpened, "2026-02-20", &events.Opening{JobType: "flat", Title: "Küche und Gästezimmer",
		Customer: "k-7", Built: 1962, Due: "2026-03-06"})
	l.record("kueche", events.EstimateIssued, "2026-02-20", &events.Estimate{PriceE4: 12_345_000,
		MeasuredBy: events.MeasureNet,
		Lines: []events.EstimateLine{{Task: "coat", Surface: "wand", Method: "rolle", Location: "Küche",
			QuantityMilli: 1_240_500,
			Unit:          events.SquareMetre, Minutes: 240}}})
	variation = l.record("kueche", events.VariationAgreed, "2026-03-02", &events.Variation{Reason: "Gästezimmer dazu",
		PriceE4: 1_500_000})
	l.record("kueche", events.ConditionRecorded, "2026-03-02", &events.Condition{Location: "Küche", Item: "Fensterbank",
		Finding: "Kratzer, 4 cm", Damaged: true})
	laid := l.record("kueche", events.ProtectionLaid, "2026-03-02", &events.Protection{Task: "protect-socket-switch",
		Location: "Küche", QuantityMilli: 4_000, Unit: events.Each})
	l.record("kueche", events.HoursBooked, "2026-03-03", &events.Hours{Person: "joerg", Task: "coat", Minutes: 450})
	cold := int64(4_500)
	l.record("kueche", events.CoatApplied, "2026-03-03", &events.Coat{Task: "coat", Surface: "wand", Method: "rolle",
		Location: "Küche", Coat: 1, QuantityMilli: 40_500, Unit: events.SquareMetre, Product: "wandfarbe", VolumeMilli: 5_200,
		Batch: "B-1177", WetFilmUm: []int64{110, 120}, AirCelsiusMilli: &cold})
	l.record("kueche", events.DamageFound, "2026-03-03", &events.Damage{Location: "Küche", Item: "Boden",
		Finding: "Farbe darauf",
		Cause:   "ours"})
	l.record("kueche", events.SnagRaised, "2026-03-04", &events.Snag{Location: "Küche", Finding: "Kante schief",
		RaisedBy: "customer"})
	l.record("kueche", events.ProtectionLifted, "2026-03-04", &events.Lifting{Laid: laid})
	return l, variation
}

// germanPapers are the addresses of every paper of the job.
func germanPapers(variation string) []string {
	at := "/jobs/kueche/"
	return []string{at + "handover", at + "quote", at + "snags", at + "condition", at + "variation/" + variation,
		at + "day/2026-03-03"}
}

// TestPapersInGerman compares each paper with itself in English: what is the same in both
// comes from the records, or was forgotten.
func TestPapersInGerman(t *testing.T) {
	english, variation := germanLedger(t, "en-IE")
	german, _ := germanLedger(t, "de-AT")
	inEnglish, inGerman := newBench(t, english, album{}), newBench(t, german, album{}, func(d *Deps) {
		d.Frame.Speak(func(context.Context, string) (string, error) { return "de-AT", nil })
	})
	records := strings.NewReplacer("\u00a0", " ").Replace(`daysheet kueche k-7 Grünbäck & Söhne (erfunden) Wohnungsrenovierung
Küche und Gästezimmer Zwei Jahre auf unsere Ausführung. Wandfarbe weiß (erfunden) Mit weichem, feuchtem Tuch abwischen. rolle
Fensterbank Kratzer, 4 cm B-1177 Boden Farbe darauf Kante schief Jörg Gästezimmer dazu Küche, Boden Küche, Fensterbank invented van-1`)
	for _, path := range append(germanPapers(variation), "/check", "/check/nothing") {
		of := browsertest.Words(t, inEnglish.get(english.firm, path, "Accept", "text/html").Body.String())
		page := inGerman.get(german.firm, path, "Accept", "text/html", "Accept-Language", "de-AT,en;q=0.5").Body.String()
		said := browsertest.Words(t, page)
		if strings.Contains(page, `<main id="main" lang="en"`) || len(said) < 10 {
			t.Errorf("%s is in another language: %s", path, page)
		}
		for _, word := range said {
			if slices.Contains(of, word) && !strings.Contains(records, word) && !strings.Contains(word, "ledger.example") &&
				!strings.HasSuffix(word, " h:mm") && !isHash(word) {
				t.Errorf("%s says %q in both languages", path, word)
			}
		}
	}
}

// isHash reports whether a text is a hash or an address, which no language has.
func isHash(text string) bool {
	return len(text) >= 32 && strings.Trim(text, "0123456789abcdef") == "" || strings.HasPrefix(text, "https://")
}

// TestGermanPDF: the text of a small job's report as poppler reads it, and the language of
// the file.
func TestGermanPDF(t *testing.T) {
	l, variation := germanLedger(t, "de-AT")
	b := newBench(t, l, album{})
	pdf := b.mustGet(l.firm, "/jobs/kueche/handover.pdf")
	if string(pdf) != string(b.mustGet(l.firm, "/jobs/kueche/handover.pdf")) {
		t.Error("the same paper made twice differs")
	}
	if objects := tool(t, pdf, "qpdf", "--json", "FILE"); !strings.Contains(objects, `"/Lang": "u:de"`) {
		t.Error("the file does not say that it is German")
	}
	text, _, _ := strings.Cut(flat(textOf(t, pdf)), " Nachweis ") // the key is another in each run
	text = strings.ReplaceAll(text, ". ", ".\n") + "\n"
	if *update {
		must(t, os.WriteFile("testdata/german.txt", []byte(text), 0o600))
	}
	want, err := os.ReadFile("testdata/german.txt")
	must(t, err)
	if text != string(want) {
		t.Errorf("the report says\n%s", text)
	}
	for _, path := range germanPapers(variation) {
		ending := ".pdf"
		if strings.Contains(path, "/day/") || strings.Contains(path, "/variation/") {
			ending = "/pdf"
		}
		raw := b.mustGet(l.firm, path+ending)
		if dir := os.Getenv("SCREENSHOTS"); dir != "" {
			must(t, os.WriteFile(dir+"/"+strings.ReplaceAll(strings.TrimPrefix(path, "/jobs/"), "/", "-")+".pdf", raw, 0o600))
		}
	}
}

// TestCheckSpeaksAsTheFirmDoes: whatever the browser asks for, as soon as a code or a file
// names a firm that signs here; and the browser's language before.
func TestCheckSpeaksAsTheFirmDoes(t *testing.T) {
	l, _ := germanLedger(t, "de-AT")
	b := newBench(t, l, album{}, func(d *Deps) {
		d.Frame.Speak(func(_ context.Context, firm string) (string, error) {
			return map[string]string{"invented": "de-AT"}[firm], nil
		})
	})
	pdf, evidence := b.mustGet(l.firm, "/jobs/kueche/handover.pdf"), b.mustGet(l.firm, "/v1/jobs/kueche/evidence")
	read, err := readSealed(pdf)
	must(t, err)
	key, err := b.keys.Private(l.firm)
	must(t, err)
	code := code{wanted{read.Firm, read.Job, read.Kind, read.Of, read.Position}, read.Head[:codeHeadDigits]}.text(key)
	elsewhere := newProof(t) // the same firm's name with another key, and of a ledger that speaks English
	check := func(what, page, want string) {
		t.Helper()
		if _, rest, _ := strings.Cut(page, "<html lang=\""); !strings.HasPrefix(rest, want+`"`) ||
			strings.Contains(page, `<main id="main" lang`) {
			t.Errorf("%s is not answered in %s: %s", what, want, page)
		}
	}
	inEnglish := []string{"Accept", "text/html", "Accept-Language", "en"}
	for _, verdict := range []string{"known", "lost"} {
		check("a code that is "+verdict, b.get("", "/check/"+code, inEnglish...).Body.String(), "de")
		check("a PDF that is "+verdict, b.upload(pdf).Body.String(), "de")
		check("an evidence file that is "+verdict, b.upload(evidence).Body.String(), "de")
		delete(l.jobs, "kueche")
	}
	broken := slices.Clone(evidence)
	broken[len(broken)/2] ^= 1
	check("a changed evidence file", b.upload(broken).Body.String(), "de")
	check("a PDF with another key", b.upload(elsewhere.pdf).Body.String(), "de")
	check("a guessed code", b.get("", "/check/x"+code, inEnglish...).Body.String(), "en")
	check("no paper", b.upload([]byte("hello")).Body.String(), "en")
	check("who asks nothing", b.get("", "/check", "Accept-Language", "de, en;q=0.5").Body.String(), "de")
	check("who is signed in", b.get(l.firm, "/check", inEnglish...).Body.String(), "de")
}
