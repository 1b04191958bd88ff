package measure

import "fmt"

// Run returns a length in millimetres by a rule after its gaps, with a sentence
// for each. It refuses a rule that is not known, lengths that cannot be, and gaps
// that are more than the run.
func Run(ruleName string, lengthMm int64, gapsMm ...int64) (mm int64, why []string, err error) {
	r, err := ruleNamed(ruleName)
	if err != nil {
		return 0, nil, err
	}
	all := []bounded{boundedLength("length_mm", lengthMm), {"gaps", int64(len(gapsMm)), 0, listMax}}
	for i, gap := range gapsMm {
		all = append(all, boundedLength(fmt.Sprintf("gaps[%d]", i), gap))
	}
	if err := within(all...); err != nil {
		return 0, nil, err
	}
	mm = r.mm(lengthMm)
	for _, gap := range gapsMm {
		gap = r.mm(gap)
		switch {
		case r.gross:
			why = append(why, fmt.Sprintf("gap of %s m: this rule deducts nothing", metres(gap)))
		case gap <= r.gapMm:
			why = append(why, fmt.Sprintf("gap of %s m is not over %s m: measured over", metres(gap), metres(r.gapMm)))
		default:
			mm -= gap
			why = append(why, fmt.Sprintf("gap of %s m: deducted", metres(gap)))
		}
	}
	if err := within(bounded{"length_mm without gaps", mm, 0, lengthMaxMm}); err != nil {
		return 0, nil, err
	}
	return mm, why, nil
}
