package pages

import (
	"strconv"

	"daysheet/services/texts"
)

// RowProblem says of a row of a table that was sent in what is wrong with it, or what there is
// to know of it.
type RowProblem struct {
	Line, Text string
	Foreign    bool // Text is in English on a page that is not
}

// RowProblemOf says why a row cannot be taken: its line, the column, what stands there, and the
// rule, in English, by which it is refused. Column and value may be empty.
func RowProblemOf(say *texts.Speaker, line int, column, value, rule string) RowProblem {
	why, ok := say.Rule(rule)
	about := column
	if value != "" {
		about = say.Say("import.is", "column", column, "value", value)
	}
	if about != "" {
		why = about + ": " + why
	}
	return RowProblem{say.Say("import.line", "n", strconv.Itoa(line)), why + ".", !ok}
}
