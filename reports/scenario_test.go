package reports

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"daysheet/events"
)

var update = flag.Bool("update", false,
	"rewrite the expected reports of the scenarios; read the difference before you keep it")

// scenario is a file of testdata: what happened, what is asked, and the report.
type scenario struct {
	about     string // the lines before the first block, and the events and questions as they stand
	events    []string
	questions []string
	expected  string

	history *history
	names   map[string]string // names of events -> ids
	at      map[string]uint64 // names of events -> sequence
}

const (
	eventsBlock   = "--- events\n"
	questionBlock = "--- question\n"
	reportBlock   = "--- report\n"
)

// readScenario reads a file of testdata and records its events.
func readScenario(t *testing.T, path string) *scenario {
	t.Helper()
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	head, expected, ok := strings.Cut(string(raw), reportBlock)
	about, rest, ok2 := strings.Cut(head, eventsBlock)
	happened, asked, ok3 := strings.Cut(rest, questionBlock)
	if !ok || !ok2 || !ok3 || about == "" {
		t.Fatalf("%s: a scenario says what it shows, then has the blocks events, question and report", path)
	}
	s := &scenario{about: head, events: strings.Split(happened, "\n"), questions: lines(asked), expected: expected,
		history: newHistory(), names: map[string]string{}, at: map[string]uint64{}}
	job := ""
	for i, text := range s.events {
		if strings.TrimSpace(text) == "" || strings.HasPrefix(text, "#") {
			continue
		}
		if job, err = s.happen(job, text); err != nil {
			t.Fatalf("%s: line %d of the events: %s: %v", path, i+1, text, err)
		}
	}
	return s
}

func lines(block string) (found []string) {
	for _, text := range strings.Split(block, "\n") {
		if strings.TrimSpace(text) != "" {
			found = append(found, text)
		}
	}
	return found
}

// happen records the event of one line and returns the job that lines are about.
func (s *scenario) happen(job, text string) (string, error) {
	l := &line{names: s.names}
	w := happened{id: fmt.Sprintf("event-%04d", s.history.sequence+1)}
	name := ""
	for _, word := range strings.Fields(strings.ReplaceAll(text, ";", " ; ")) {
		switch {
		case strings.HasPrefix(word, "as="):
			name = word[3:]
		case strings.HasPrefix(word, "recorded="):
			w.recorded = events.Day(word[9:])
		case strings.HasPrefix(word, "time="):
			w.time = word[5:]
		default:
			l.words = append(l.words, word)
		}
	}
	if l.follows("on") {
		return l.next(), l.err
	}
	w.day = events.Day(l.next())
	if w.recorded == "" {
		w.recorded = w.day
	}
	verb := l.next()
	if verb == "job-opened" {
		job = l.next()
		o := &events.Opening{Start: events.Day(l.option("start")), Due: events.Day(l.option("due")),
			Customer: l.option("customer"), JobType: l.next()}
		o.Title = l.rest()
		w.payload = o
	} else if read, ok := verbs[verb]; ok {
		w.payload = read(l)
	} else {
		return job, fmt.Errorf("there is no verb %q", verb)
	}
	if l.err != nil {
		return job, l.err
	}
	if l.more() {
		return job, fmt.Errorf("%q is too much", l.rest())
	}
	w.job = job
	if typeOf(w.payload).OfFirm() {
		w.job = events.FirmJob
	}
	if err := s.history.record(w); err != nil {
		return job, err
	}
	if name != "" {
		s.names[name], s.at[name] = w.id, s.history.sequence
	}
	return job, nil
}

// ask reads a question like "job-summary job=hall as-of=morning".
func (s *scenario) ask(text string) (name string, f Filter, err error) {
	words := strings.Fields(text)
	for _, w := range words[1:] {
		key, value, _ := strings.Cut(w, "=")
		switch key {
		case "job":
			f.Job = value
		case "type":
			f.JobType = value
		case "from":
			f.From = events.Day(value)
		case "to":
			f.To = events.Day(value)
		case "today":
			f.Today = events.Day(value)
		case "as-of":
			f.AsOf = s.at[value]
			if f.AsOf == 0 {
				return "", f, fmt.Errorf("no event is named %q", value)
			}
		default:
			return "", f, fmt.Errorf("a filter has no %q", key)
		}
	}
	return words[0], f, nil
}

func scenarioPaths(t *testing.T) []string {
	t.Helper()
	paths, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(paths) == 0 {
		t.Fatalf("no scenarios: %v", err)
	}
	return paths
}

// reportsOf returns every report that the scenario asks for.
func (s *scenario) reportsOf(t *testing.T) []Report {
	t.Helper()
	var made []Report
	for _, q := range s.questions {
		name, f, err := s.ask(q)
		if err != nil {
			t.Fatalf("%s: %v", q, err)
		}
		r, err := s.history.report(name, f)
		if err != nil {
			t.Fatalf("%s: %v", q, err)
		}
		made = append(made, r)
	}
	return made
}

func TestScenarios(t *testing.T) {
	for _, path := range scenarioPaths(t) {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) {
			s := readScenario(t, path)
			var got strings.Builder
			for i, r := range s.reportsOf(t) {
				if i > 0 {
					got.WriteString("\n")
				}
				got.WriteString(shown(r))
				checkShape(t, r)
				checkExplained(t, &s.history.memory, r)
			}
			if *update {
				if err := os.WriteFile(path, []byte(s.about+reportBlock+got.String()), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if got.String() != s.expected {
				t.Errorf("the report differs; run with -update and read the difference. First difference:\n%s",
					difference(got.String(), s.expected))
			}
		})
	}
}

// difference returns the first line in which two texts differ.
func difference(got, want string) string {
	wanted := strings.Split(want, "\n")
	for i, l := range strings.Split(got, "\n") {
		if i >= len(wanted) {
			return fmt.Sprintf("line %d is new: %s", i+1, l)
		}
		if l != wanted[i] {
			return fmt.Sprintf("line %d\ngot:  %s\nwant: %s", i+1, l, wanted[i])
		}
	}
	return "the end is missing"
}
