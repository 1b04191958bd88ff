package handover

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/reports"
)

var update = flag.Bool("update", false,
	"rewrite the expected papers of the scenarios; read the difference before you keep it")

const (
	eventsBlock = "--- events\n"
	asksBlock   = "--- paper\n"
	paperBlock  = "--- expect\n"
)

// TestScenarios makes the papers of every scenario and compares them with what is
// expected. A scenario can be read aloud to a foreman.
func TestScenarios(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join("testdata", "*.txt"))
	if err != nil || len(paths) == 0 {
		t.Fatalf("no scenarios: %v", err)
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) {
			raw, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			head, expected, ok := strings.Cut(string(raw), paperBlock)
			about, rest, ok2 := strings.Cut(head, eventsBlock)
			happened, asked, ok3 := strings.Cut(rest, asksBlock)
			if !ok || !ok2 || !ok3 || about == "" {
				t.Fatal("a scenario says what it shows, then has the blocks events, paper and expect")
			}
			got := papers(t, happened, asked)
			if *update {
				if err := os.WriteFile(path, []byte(head+paperBlock+got), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if got != expected {
				t.Errorf("the papers are\n%s\nwant\n%s", got, expected)
			}
		})
	}
}

// papers records what happened and writes the papers that are asked for.
func papers(t *testing.T, happened, asked string) string {
	t.Helper()
	h := newHistory()
	for _, line := range lines(happened) {
		if err := h.happen(line); err != nil {
			t.Fatalf("%s: %v", line, err)
		}
	}
	var b strings.Builder
	var parties *Parties
	for _, line := range lines(asked) {
		words := split(line)
		if words[0] == "parties" {
			parties = &Parties{}
			for _, w := range words[1:] {
				key, value, _ := strings.Cut(w, "=")
				switch key {
				case "name":
					parties.Name = strings.Trim(value, `"`)
				case "address":
					parties.Address = strings.Trim(value, `"`)
				case "erased":
					parties.Erased = events.Day(value)
				}
			}
			continue
		}
		d, err := Read(Input{Firm: "invented", Job: "job", Commits: h.job.stored, Own: h.firm.stored})
		if err != nil {
			t.Fatal(err)
		}
		p, err := ask(d.With(parties).Speaking(english(t), d.Names()), words, h.ids)
		if err != nil {
			t.Fatalf("%s: %v", line, err)
		}
		write(&b, p)
	}
	return b.String()
}

func ask(d *Dossier, words []string, ids map[string]string) (Paper, error) {
	switch words[0] {
	case "handover":
		return d.Handover(), nil
	case "condition":
		return d.Condition(), nil
	case "snags":
		return d.Snags(), nil
	case "quote":
		return d.Quote()
	case "variation":
		return d.Variation(ids[words[1]])
	case "day":
		return d.DaySheet(events.Day(words[1]))
	}
	return Paper{}, fmt.Errorf("there is no paper %q", words[0])
}

func lines(block string) (found []string) {
	for _, line := range strings.Split(block, "\n") {
		if strings.TrimSpace(line) != "" && !strings.HasPrefix(line, "#") {
			found = append(found, line)
		}
	}
	return found
}

// split cuts a line into words; a space between quotation marks or brackets cuts nothing.
func split(line string) (words []string) {
	var word strings.Builder
	quoted, depth := false, 0
	for _, r := range line + " " {
		switch {
		case r == '"':
			quoted = !quoted
		case !quoted && (r == '[' || r == '{'):
			depth++
		case !quoted && (r == ']' || r == '}'):
			depth--
		case r == ' ' && !quoted && depth == 0:
			if word.Len() > 0 {
				words = append(words, word.String())
			}
			word.Reset()
			continue
		}
		word.WriteRune(r)
	}
	return words
}

// history is the log of one job and of its firm.
type history struct {
	sequence  uint64
	job, firm *chain
	ids       map[string]string // names of events -> ids
}

type chain struct {
	fold   *events.Job
	stored []events.Stored
}

func newHistory() *history {
	return &history{job: &chain{fold: events.NewJob("invented", "job")},
		firm: &chain{fold: events.NewJob("invented", events.FirmJob)}, ids: map[string]string{}}
}

// happen records one line: "2026-03-02 08:00 coat.applied task=coat coat=1 as=first".
func (h *history) happen(line string) error {
	words := split(line)
	if len(words) < 3 {
		return fmt.Errorf("a line is a day, a time, what happened, and its members")
	}
	h.sequence++
	e := events.Event{ID: fmt.Sprintf("event-%04d", h.sequence), Source: "/phones/van-1", Subject: "job",
		Type: events.Type("daysheet." + words[2] + ".v1"), Time: words[0] + "T" + words[1] + ":00+01:00"}
	data := map[string]any{}
	for _, w := range words[3:] {
		key, value, _ := strings.Cut(w, "=")
		if key == "as" {
			h.ids[value] = e.ID
			continue
		}
		var err error
		if data[key], err = h.value(key, value); err != nil {
			return err
		}
	}
	raw, err := json.Marshal(data)
	if err != nil {
		return err
	}
	e.Data = raw
	c := h.job
	if e.Type.OfFirm() {
		c, e.Subject = h.firm, events.FirmJob
	}
	if err := e.Validate(); err != nil {
		return err
	}
	return c.record(e, h.sequence)
}

// value reads a member: a number, true or false, JSON, @name for the id of an event,
// photos by their names, or a text.
func (h *history) value(key, value string) (any, error) {
	if key == "photos" || key == "photo" {
		var digests []string
		for name := range strings.SplitSeq(value, ",") {
			digests = append(digests, events.Hash([]byte(name)))
		}
		if key == "photo" {
			return digests[0], nil
		}
		return digests, nil
	}
	if name, ok := strings.CutPrefix(value, "@"); ok {
		if h.ids[name] == "" {
			return nil, fmt.Errorf("no event is called %q", name)
		}
		return h.ids[name], nil
	}
	if n, err := strconv.ParseInt(value, 10, 64); err == nil && key != "batch" && key != "day" {
		return n, nil
	}
	if strings.HasPrefix(value, "[") || strings.HasPrefix(value, "{") || value == "true" || value == "false" {
		var v any
		err := json.Unmarshal([]byte(value), &v)
		return v, err
	}
	return strings.Trim(value, `"`), nil
}

func (c *chain) record(e events.Event, sequence uint64) error {
	fresh, _, err := c.fold.Plan([]events.Event{e})
	if err != nil {
		return err
	}
	commit := events.Commit{Firm: "invented", Job: c.fold.Key, Version: c.fold.Version + 1, Previous: c.fold.Head,
		RecordedAt: e.OccurredAt().Add(time.Minute), RecordedBy: "van-1", Events: fresh}
	raw, err := commit.Encode()
	if err != nil {
		return err
	}
	read, err := events.DecodeCommit(raw)
	if err != nil {
		return err
	}
	c.stored = append(c.stored, events.Stored{Sequence: sequence, Raw: raw})
	return c.fold.Apply(read, sequence, raw)
}

// write writes a paper as plain text.
func write(b *strings.Builder, p Paper) {
	fmt.Fprintf(b, "%s\n%s; job %s, position %d, %d commits, head %s\n", p.Title, p.Firm, p.Stamp.Job, p.Stamp.Position,
		p.Stamp.Commits, p.Stamp.Head[:12])
	if n := p.Missing(); n > 0 {
		fmt.Fprintf(b, "%d records are missing\n", n)
	}
	for _, s := range p.Sections {
		fmt.Fprintf(b, "\n[%s]\n", s.Title)
		for _, f := range s.Facts {
			fmt.Fprintf(b, "%s: %s\n", f.Term, shown(f.Cell, f.Form))
		}
		for _, line := range s.Says {
			fmt.Fprintf(b, "- %s\n", line)
		}
		for _, strip := range s.Strips {
			fmt.Fprintf(b, "(strip) %s: %v\n", strip.Title, strip.Days)
		}
		for _, table := range s.Tables {
			writeTable(b, table)
		}
		for _, photo := range s.Photos {
			fmt.Fprintf(b, "(photo %s, %s) %s\n", photo.Digest[:8], photo.Day, photo.Caption)
		}
		for _, line := range s.Missing {
			fmt.Fprintf(b, "MISSING: %s\n", line)
		}
		for _, line := range s.Sign {
			fmt.Fprintf(b, "%s: ____________\n", line)
		}
	}
	b.WriteString("\n")
}

func writeTable(b *strings.Builder, t reports.Table) {
	rows := [][]string{nil}
	for _, c := range t.Columns {
		rows[0] = append(rows[0], c.Title)
	}
	for _, cells := range t.Rows {
		var row []string
		for i, c := range cells {
			row = append(row, shown(c, t.Columns[i].Form))
		}
		rows = append(rows, row)
	}
	fmt.Fprintf(b, "%s\n", t.Title)
	for _, row := range rows {
		for i, cell := range row {
			width := 0
			for _, other := range rows {
				width = max(width, len([]rune(other[i])))
			}
			if i == len(row)-1 {
				width = 0
			}
			fmt.Fprintf(b, "  %-*s", width, cell)
		}
		b.WriteString("\n")
	}
}

func shown(c reports.Cell, form reports.Form) string {
	switch {
	case c.Blank:
		return "-"
	case form == reports.FormQuantity:
		return amount(c.Number, c.Unit)
	case form == reports.FormIndex:
		return amount(c.Number, "")
	case form == reports.FormMoney:
		return reports.MoneyText(c.Number, "")
	case form == reports.FormMinutes:
		return reports.MinutesText(c.Number)
	case form == reports.FormCount:
		return fmt.Sprint(c.Number)
	}
	return c.Text
}
