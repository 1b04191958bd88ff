package wording

import (
	"maps"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/texts"
)

// InLanguage returns the names of a firm with those of the standard tasks in a language.
// What the firm named itself stays as it is.
func InLanguage(names reports.Names, t *texts.Texts) (reports.Names, error) {
	s := texts.Speaker{Texts: t}
	names.Tasks = maps.Clone(names.Tasks)
	for _, task := range events.StandardTasks() {
		if names.Tasks[task.Task] == task.Name {
			names.Tasks[task.Task] = s.Say("task." + task.Task)
		}
	}
	return names, s.Err
}
