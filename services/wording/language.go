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

// TaskNames returns the standard tasks by the names that a firm reads, for what people type.
func TaskNames(names reports.Names) []events.FirmTask {
	var all []events.FirmTask
	for _, task := range events.StandardTasks() {
		task.Name = names.Tasks[task.Task]
		all = append(all, events.FirmTask(task))
	}
	return all
}

// FamilyNames returns what the families of tasks are called.
func FamilyNames(s *texts.Speaker) map[events.Family]string {
	names := map[events.Family]string{}
	for _, f := range events.Families() {
		names[f] = s.Say("family." + string(f))
	}
	return names
}
