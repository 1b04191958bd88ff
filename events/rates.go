package events

// RateRejection is the office's no to a rate that the firm's history proposed, so
// that it is not proposed again on the same evidence.
type RateRejection struct {
	Task         string `json:"task" doc:"Task of the rate"`
	Surface      string `json:"surface,omitempty" doc:"Surface of the rate"`
	Method       string `json:"method,omitempty" doc:"Method of the rate"`
	MinutesMilli int64  `json:"minutes_milli" doc:"What was proposed, in thousandths of a minute for one unit" minimum:"0" maximum:"1000000000"`
	Evidence     int64  `json:"evidence" doc:"Position in the log of the history that it was proposed from" minimum:"0" maximum:"9007199254740991"`
	Reason       string `json:"reason" doc:"Why it is not taken" minLength:"1" maxLength:"2000"`
}

func (r *RateRejection) check(c *checker) {
	c.token("task", r.Task)
	c.optionalToken("surface", r.Surface)
	c.optionalToken("method", r.Method)
	c.within("minutes_milli", r.MinutesMilli, 0, PlanMinutesMax*1000)
	c.within("evidence", r.Evidence, 0, wholeMax)
	c.text("reason", r.Reason, textMax)
}
