package events

// NamedDay returns the day that a payload names as the day of what it tells; empty
// where it names none, so that it is the day of the event.
func NamedDay(payload Payload) Day {
	switch p := payload.(type) {
	case *Purchase:
		return p.Day
	case *Move:
		return p.Day
	case *Count:
		return p.Day
	case *CustomerErasure:
		return p.Day
	case *Estimate:
		return p.Day
	case *Acceptance:
		return p.Day
	case *Variation:
		return p.Day
	case *SignOff:
		return p.Day
	case *Closing:
		return p.Day
	case *Reopening:
		return p.Day
	case *Condition:
		return p.Day
	case *Hours:
		return p.Day
	case *Protection:
		return p.Day
	case *ProtectionCheck:
		return p.Day
	case *Lifting:
		return p.Day
	case *Preparation:
		return p.Day
	case *Coat:
		return p.Day
	case *Usage:
		return p.Day
	case *Return:
		return p.Day
	case *Damage:
		return p.Day
	case *MakingGood:
		return p.Day
	case *Snag:
		return p.Day
	case *SnagClearance:
		return p.Day
	case *Photo:
		return p.Day
	case *Note:
		return p.Day
	}
	return ""
}
