package projector

import "sync"

// Notice says that a commit of a job is in the store.
type Notice struct {
	Job      string // [events.FirmJob] for the firm's own commits
	Sequence uint64
}

// firmNotice is a notice with the firm whose watchers it is for.
type firmNotice struct {
	firm string
	Notice
}

// noticesKept bounds what is kept for a reader that is slow.
const noticesKept = 64

// watchers are the channels of those who watch, by firm.
type watchers struct {
	mu     sync.Mutex
	byFirm map[string]map[chan Notice]bool
}

func newWatchers() *watchers { return &watchers{byFirm: map[string]map[chan Notice]bool{}} }

func (w *watchers) add(firm string) (<-chan Notice, func()) {
	notices := make(chan Notice, noticesKept)
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.byFirm[firm] == nil {
		w.byFirm[firm] = map[chan Notice]bool{}
	}
	w.byFirm[firm][notices] = true
	return notices, func() { w.remove(firm, notices) }
}

func (w *watchers) remove(firm string, notices chan Notice) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if !w.byFirm[firm][notices] {
		return
	}
	delete(w.byFirm[firm], notices)
	if len(w.byFirm[firm]) == 0 {
		delete(w.byFirm, firm)
	}
	close(notices)
}

// tell never blocks. The lock makes it the only sender, so a channel that was
// full has room once its oldest notice is taken out.
func (w *watchers) tell(notices []firmNotice) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if len(w.byFirm) == 0 {
		return
	}
	for _, n := range notices {
		for c := range w.byFirm[n.firm] {
			if len(c) == cap(c) {
				select {
				case <-c:
				default: // its reader was faster
				}
			}
			c <- n.Notice
		}
	}
}
