package daemon

import (
	"os"
	"path/filepath"
	"time"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// aliveFile is empty: its time of change is the last at which the daemon looked at what is
// due. It lets the first message after a gap say how long that was, and nothing more hangs
// on it.
const aliveFile = "alive"

const (
	touchEvery = time.Minute
	gapFrom    = 5 * time.Minute // a beat comes every minute: longer is a gap
)

// A pulse notices when the daemon was off, or its machine asleep.
type pulse struct {
	path    string
	last    time.Time // of the last beat; zero before the first
	touched time.Time
}

func newPulse(data string) *pulse { return &pulse{path: filepath.Join(data, aliveFile)} }

// beat gives the gap that ends now, if there is one. A file that cannot be read or written
// costs no more than words.
func (p *pulse) beat(now time.Time) (off notify.Stretch) {
	if p.last.IsZero() {
		if info, err := os.Stat(p.path); err == nil {
			p.last = info.ModTime()
		}
	}
	if !p.last.IsZero() && now.Sub(p.last) >= gapFrom {
		off = notify.Stretch{From: p.last, To: now}
	}
	p.last = now
	if now.Sub(p.touched).Abs() >= touchEvery {
		p.touch(now)
	}
	return off
}

func (p *pulse) touch(now time.Time) {
	p.touched = now
	if os.Chtimes(p.path, now, now) == nil {
		return
	}
	if f, err := os.OpenFile(p.path, os.O_CREATE|os.O_WRONLY, 0o600); err == nil {
		_ = f.Close()
		_ = os.Chtimes(p.path, now, now)
	}
}

// runsOfWeek counts the cycles that ended in the seven days before now.
func runsOfWeek(s *maintenance.State, now time.Time) (n int) {
	for _, p := range s.Pumps {
		for _, c := range p.History {
			if !c.Stop.After(now) && now.Sub(c.Stop) < 7*24*time.Hour {
				n++
			}
		}
	}
	return n
}
