package reports

import (
	"fmt"
	"slices"

	"daysheet/events"
)

// Alternative is another way of doing the same work.
type Alternative struct {
	Name    string          `json:"name" doc:"How the alternative is called"`
	Methods []MethodChange  `json:"methods,omitempty" doc:"Methods to use in place of others"`
	Rates   []RateChange    `json:"rates,omitempty" doc:"Rates to try in place of those learned"`
	Without []events.Family `json:"without,omitempty" doc:"Families of tasks to leave out, for example protection"`
}

// MethodChange replaces a method by another one.
type MethodChange struct {
	From string `json:"from" doc:"Method to replace"`
	To   string `json:"to" doc:"Method to use"`
}

// RateChange tries a rate for a task.
type RateChange struct {
	Task         string `json:"task" doc:"Task whose rate is tried"`
	MinutesMilli int64  `json:"minutes_milli" doc:"Thousandths of a minute for one unit" minimum:"1"`
}

// whatIfMost bounds the alternatives of one quote.
const whatIfMost = 10

// Alternatives prices each alternative of a take-off, in order. An alternative that
// cannot be priced is refused by its name.
func Alternatives(f Filter, a Answer, t TakeOff) ([]Quote, error) {
	if len(t.WhatIf) > whatIfMost {
		return nil, events.Refuse("what_if", len(t.WhatIf), "at most %d", whatIfMost)
	}
	var all []Quote
	for _, alternative := range t.WhatIf {
		changed, err := alternative.of(t, ruleOf(t, a.Names), a.Names)
		if err != nil {
			return nil, fmt.Errorf("what_if %s: %w", alternative.Name, err)
		}
		tried := map[string]int64{}
		for _, r := range alternative.Rates {
			if r.MinutesMilli < 1 || r.MinutesMilli > events.PlanMinutesMax*1000 {
				return nil, events.Refuse("what_if.rates.minutes_milli", r.MinutesMilli, "a whole number from 1 to %d",
					events.PlanMinutesMax*1000)
			}
			tried[r.Task] = r.MinutesMilli
		}
		q, err := newQuote(f, a, changed, tried)
		if err != nil {
			return nil, fmt.Errorf("what_if %s: %w", alternative.Name, err)
		}
		all = append(all, q)
	}
	return all, nil
}

// of returns the take-off that the alternative makes of another: measured, with
// methods replaced and families left out.
func (alternative Alternative) of(t TakeOff, rule string, names Names) (TakeOff, error) {
	work, err := t.measure(rule)
	if err != nil {
		return t, err
	}
	t.Lines, t.Rooms, t.WhatIf = nil, nil, nil
	for _, w := range work {
		if slices.Contains(alternative.Without, names.familyOf(w.Task)) {
			continue
		}
		for _, m := range alternative.Methods {
			if w.Method == m.From {
				w.Method = m.To
				break
			}
		}
		t.Lines = append(t.Lines, w.TakeOffLine)
	}
	return t, nil
}

// familyOf returns the family of a task.
func (n Names) familyOf(task string) events.Family {
	if t, ok := events.StandardTask(task); ok {
		return t.Family
	}
	if n.Settings != nil {
		for _, t := range n.Settings.Tasks {
			if t.Task == task {
				return t.Family
			}
		}
	}
	return events.FamilyOther
}
