package backup

import (
	"bytes"
	"fmt"
	"strconv"

	"daysheet/events"
	"daysheet/services/eventlog"
)

// segment gathers commits of a partition into parts.
type segment struct {
	*making
	partition uint8
	begins    uint64 // sequence of the first that is gathered; 0: none is
	gathered  bytes.Buffer
}

// add takes one commit in.
func (g *segment) add(s events.Stored, c *events.Commit) error {
	if bytes.IndexByte(s.Raw, '\n') >= 0 {
		return fmt.Errorf("sequence %d: a commit of two lines is not canonical JSON", s.Sequence)
	}
	subject, err := eventlog.Subject(c.Firm, c.Job)
	if err != nil {
		return err
	}
	if g.begins == 0 {
		g.begins = s.Sequence
	}
	g.gathered.Write(strconv.AppendUint(g.gathered.AvailableBuffer(), s.Sequence, 10))
	g.gathered.WriteString(" " + subject + " ")
	g.gathered.Write(s.Raw)
	g.gathered.WriteByte('\n')
	if g.gathered.Len() < segmentBytes {
		return nil
	}
	return g.flush()
}

// flush writes what is gathered.
func (g *segment) flush() error {
	if g.begins == 0 {
		return nil
	}
	err := g.bytes(segmentName(g.partition, g.begins), g.gathered.Bytes())
	g.begins = 0
	g.gathered.Reset()
	return err
}

// commitMost bounds a line of a segment.
const commitMost = 2 << 20

// readLine takes a line of a segment apart. The commit is a copy.
func readLine(partition uint8, line []byte) (s events.Stored, subject string, err error) {
	number, rest, _ := bytes.Cut(line, []byte(" "))
	name, raw, ok := bytes.Cut(rest, []byte(" "))
	s = events.Stored{Partition: partition, Raw: bytes.Clone(raw)}
	s.Sequence, err = strconv.ParseUint(string(number), 10, 64)
	if err != nil || !ok {
		return s, "", fmt.Errorf("a line of partition %d does not begin with sequence and subject", partition)
	}
	return s, string(name), nil
}
