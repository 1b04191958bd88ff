package eventlog

import (
	"testing"

	"daysheet/events"
)

// TestMigrateIntoTheDeployedCluster moves a log into the cluster of deploy/nats, with
// the keys of deploy/nats, while the server that leads a partition goes away and
// comes back. Who may only record, or only read, is told so before anything is sent.
func TestMigrateIntoTheDeployedCluster(t *testing.T) {
	dir, all := movable(t)
	d := startDeployed(t)
	_, err := Migrate(t.Context(), Config{Dir: dir}, d.as("whole"), all, nil)
	wantCode(t, err, events.Unavailable)
	d.prepare(t)
	for user, denied := range map[string]string{
		"writer": "$JS.API.CONSUMER.CREATE.", "reader": "ledger.", "operator": "ledger.",
	} {
		_, err := Migrate(t.Context(), Config{Dir: dir}, d.as(user), all, nil)
		wantCode(t, err, events.Unavailable, "does not let this user publish to "+denied)
	}
	to := d.as("whole")
	l := d.openAs(t, "whole")
	if there := everything(t, l); len(there) != 0 {
		t.Fatalf("who may not move a log left %d commits", len(there))
	}
	var away *external
	report, err := Migrate(t.Context(), Config{Dir: dir}, to, all, func(step string, done, total uint64) {
		switch {
		case away == nil && step == "copy" && done == total/2: // an attempt may send it again
			away = leaderOf(t, d.nodes, l, Partition("firm-b"))
			away.stop()
		case step == "compare" && done == total/2:
			away.start(t)
		}
	})
	if err != nil || report.Copied != uint64(len(all)) {
		t.Fatalf("the report is %+v, %v", report, err)
	}
	wantMoved(t, dir, to, all)
}
