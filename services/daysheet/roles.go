package main

import (
	"path/filepath"
	"slices"
	"strings"

	"daysheet/events"
)

// roles says which parts of the ledger a process runs. The zero value is all.
type roles map[string]bool

// The parts of the ledger, in the order in which data walks through them.
const (
	roleIntake    = "intake"    // takes events and sets up firms
	roleProjector = "projector" // makes facts of what was recorded
	roleReporting = "reporting" // serves reports, jobs and pages
)

func allRoles() []string { return []string{roleIntake, roleProjector, roleReporting} }

// rolesOf reads the flag --run.
func rolesOf(words []string) (roles, error) {
	r := roles{}
	for _, word := range words {
		word = strings.TrimSpace(word)
		if !slices.Contains(allRoles(), word) {
			return nil, events.Refuse("run", word, "use intake, projector and reporting, with commas between")
		}
		r[word] = true
	}
	return r, nil
}

// runs reports whether a part runs in this process.
func (r roles) runs(role string) bool { return len(r) == 0 || r[role] }

// whole reports whether every part does.
func (r roles) whole() bool {
	return r.runs(roleIntake) && r.runs(roleProjector) && r.runs(roleReporting)
}

// usesStore reports whether the process has a store of facts.
func (r roles) usesStore() bool { return r.runs(roleProjector) || r.runs(roleReporting) }

// servesCustomers reports whether the process holds the keys of customers: it reads
// and records.
func (r roles) servesCustomers() bool { return r.runs(roleIntake) && r.runs(roleReporting) }

// names lists the parts that run.
func (r roles) names() []string {
	return slices.DeleteFunc(allRoles(), func(role string) bool { return !r.runs(role) })
}

// check refuses what cannot work, and says what to do instead. Flags that a part
// does not need are no error: processes of several parts share a configuration.
func (r roles) check(n NATSFlags, s StoreFlags) error {
	named := strings.Join(r.names(), ",")
	switch {
	case n.NATS == "" && !r.whole():
		return events.Refuse("run", named, "without --nats the log belongs to this one process, "+
			"and nobody else could reach it: give --nats, or run all three parts here")
	case n.NATS == "" && n.NATSReplicas > 1:
		return events.Refuse("nats-replicas", n.NATSReplicas, "the log in the data folder is one copy: "+
			"give --nats, or leave --nats-replicas out")
	case s.ClickHouse == "" && r.runs(roleProjector) != r.runs(roleReporting):
		return events.Refuse("run", named, "without --clickhouse the facts are in a file that one process has open: "+
			"run projector and reporting together, or give --clickhouse to both")
	}
	return nil
}

// keysPath returns the folder of the keys of customers.
func (g *Globals) keysPath() string {
	if g.Keys != "" {
		return g.Keys
	}
	return filepath.Join(g.Data, keysFolder)
}

// tokensPath returns the file of the tokens.
func (g *Globals) tokensPath() string {
	if g.Tokens != "" {
		return g.Tokens
	}
	return filepath.Join(g.Data, tokensFile)
}
