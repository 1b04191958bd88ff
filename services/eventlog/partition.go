package eventlog

import (
	"fmt"
	"hash/fnv"

	"daysheet/events"
)

// Partitions is the number of streams that firms are spread over. It is for
// ever: a firm's partition is part of its subjects.
const Partitions = 16

// Partition returns the partition that holds the firm: the 32-bit FNV-1a hash of
// its key, modulo [Partitions].
func Partition(firm string) uint8 {
	h := fnv.New32a()
	h.Write([]byte(firm)) // never fails, by its contract
	return uint8(h.Sum32() % Partitions)
}

func streamName(partition uint8) string { return fmt.Sprintf("LEDGER_%02d", partition) }

// subject returns where the commits of a job stand. Firm and job must be valid
// tokens: a dot or a wildcard in them would reach into other jobs.
func subject(firm, job string) string {
	return fmt.Sprintf("ledger.%02d.%s.%s", Partition(firm), firm, job)
}

// Subject returns the subject under which the commits of a job stand in the log.
func Subject(firm, job string) (string, error) {
	if err := checkTokens(firm, job); err != nil {
		return "", err
	}
	return subject(firm, job), nil
}

// checkTokens refuses keys that cannot stand in a subject.
func checkTokens(firm, job string) error {
	if !events.ValidToken(firm) {
		return events.Refuse("firm", firm, "the key of a firm: "+events.TokenRule)
	}
	if !events.ValidToken(job) {
		return events.Refuse("job", job, "the key of a job: "+events.TokenRule)
	}
	return nil
}

func checkPartition(partition uint8) error {
	if partition >= Partitions {
		return events.Refuse("partition", partition, "the log has the partitions 0 to %d", Partitions-1)
	}
	return nil
}
