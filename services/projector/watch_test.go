package projector

import "testing"

func TestSlowWatcherLosesTheOldest(t *testing.T) {
	w := newWatchers()
	notices, stop := w.add("north-light")
	other, stopOther := w.add("south-yard")
	defer stopOther()
	const told = noticesKept + 7
	for i := range uint64(told) {
		w.tell([]firmNotice{{"north-light", Notice{"stairwell-7", i + 1}}})
	}
	stop()
	stop()
	want := uint64(told - noticesKept)
	for n := range notices {
		want++
		if n != (Notice{"stairwell-7", want}) {
			t.Fatalf("notice %+v, want sequence %d", n, want)
		}
	}
	if want != told {
		t.Errorf("the last notice was %d, want %d", want, told)
	}
	if len(other) != 0 {
		t.Errorf("another firm's watcher was told %d times", len(other))
	}
	if len(w.byFirm) != 1 {
		t.Errorf("%d firms are watched after a stop, want 1", len(w.byFirm))
	}
}
