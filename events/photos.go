package events

// PhotosOf returns the digests of the photos that an event's payload names, in its
// order; nil where it names none.
func PhotosOf(payload Payload) []string {
	switch p := payload.(type) {
	case *Condition:
		return p.Photos
	case *Protection:
		return p.Photos
	case *Damage:
		return p.Photos
	case *MakingGood:
		return p.Photos
	case *Snag:
		return p.Photos
	case *SnagClearance:
		return p.Photos
	case *Photo:
		return []string{p.Photo}
	}
	return nil
}
