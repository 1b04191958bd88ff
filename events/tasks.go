package events

import "slices"

// Family groups tasks for the question where the hours of a job go.
type Family string

// The families of tasks, in the order in which a job meets them.
const (
	FamilySetUp       Family = "set-up"
	FamilyTravel      Family = "travel"
	FamilyProtection  Family = "protection"
	FamilyMasking     Family = "masking"
	FamilyPreparation Family = "preparation"
	FamilyCoating     Family = "coating"
	FamilyLifting     Family = "lifting"
	FamilyMakingGood  Family = "making-good"
	FamilySnagging    Family = "snagging"
	FamilyOther       Family = "other" // tasks that are in no list
)

var families = []Family{FamilySetUp, FamilyTravel, FamilyProtection, FamilyMasking, FamilyPreparation,
	FamilyCoating, FamilyLifting, FamilyMakingGood, FamilySnagging, FamilyOther}

// Families returns every family in the order in which a job meets them.
func Families() []Family { return slices.Clone(families) }

func familyNames() []string {
	names := make([]string, len(families))
	for i, f := range families {
		names[i] = string(f)
	}
	return names
}

// Task is one kind of work. Its key joins what was estimated with what was
// done. The list is common practice, no source.
type Task struct {
	Task   string
	Family Family
	Unit   Unit // what its quantity is usually counted in
	Name   string
}

var standardTasks = []Task{
	{"set-up", FamilySetUp, Hour, "Set-up"},
	{"travel", FamilyTravel, Hour, "Travel"},

	{"protect-floor", FamilyProtection, SquareMetre, "Protect floor"},
	{"protect-worktop", FamilyProtection, SquareMetre, "Protect worktop"},
	{"protect-glass", FamilyProtection, SquareMetre, "Protect glass"},
	{"protect-joinery", FamilyProtection, SquareMetre, "Protect joinery"},
	{"protect-socket-switch", FamilyProtection, Each, "Protect socket or switch"},
	{"protect-light-fitting", FamilyProtection, Each, "Protect light fitting"},
	{"protect-detector", FamilyProtection, Each, "Protect detector"},
	{"protect-radiator", FamilyProtection, Each, "Protect radiator"},
	{"protect-unit", FamilyProtection, Each, "Protect fitted unit"},
	{"protect-handrail", FamilyProtection, Metre, "Protect handrail"},

	{"mask-edge", FamilyMasking, Metre, "Mask edge"},
	{"mask-opening", FamilyMasking, SquareMetre, "Mask opening"},

	{"wash", FamilyPreparation, SquareMetre, "Wash down"},
	{"sand", FamilyPreparation, SquareMetre, "Rub down"},
	{"fill", FamilyPreparation, SquareMetre, "Fill"},
	{"caulk", FamilyPreparation, Metre, "Caulk"},
	{"prime", FamilyPreparation, SquareMetre, "Prime"},

	{"coat", FamilyCoating, SquareMetre, "Coat surface"},
	{"coat-trim", FamilyCoating, Metre, "Coat trim"},
	{"coat-door", FamilyCoating, Each, "Coat door"},

	{"lift-protection", FamilyLifting, SquareMetre, "Lift protection"},
	{"clean", FamilyLifting, SquareMetre, "Clean"},

	{"make-good", FamilyMakingGood, Hour, "Make good"},
	{"snag", FamilySnagging, Each, "Snagging"},
}

// StandardTasks returns the tasks that every firm starts with.
func StandardTasks() []Task { return slices.Clone(standardTasks) }

// StandardTask returns the standard task with the given key.
func StandardTask(task string) (Task, bool) {
	for _, t := range standardTasks {
		if t.Task == task {
			return t, true
		}
	}
	return Task{}, false
}
