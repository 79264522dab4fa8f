package notify

import (
	"slices"
	"time"

	"sumpbook/maintenance"
)

const dayMin = 24 * 60

// Quiet are the hours of the local day in which nothing is said that can wait. From and To
// are minutes since local midnight; To before From spans midnight; equal, there are none.
type Quiet struct {
	Days     []time.Weekday // on which they begin; none: every day
	From, To int
	Except   []maintenance.Do // said at any hour
	Zone     *time.Location   // nil is UTC
}

// Holds says whether word of an action has to wait at now, and until when: the first
// instant after the quiet hours. A pump without oil cannot wait.
func (q Quiet) Holds(do maintenance.Do, now time.Time) (until time.Time, held bool) {
	return Nights{q}.Holds(do, now)
}

func (q Quiet) spares(do maintenance.Do) bool {
	return do == maintenance.DoStopPump || slices.Contains(q.Except, do)
}

// window is the stretch of quiet hours that t lies in. It is a stretch of instants, not of
// readings of the clock, so that an hour told twice in autumn does not make two of it.
func (q Quiet) window(t time.Time) (start, end time.Time, ok bool) {
	for back := 1; back >= 0; back-- {
		if start, end, ok = q.begun(t, -back); ok && !t.Before(start) && t.Before(end) {
			return start, end, true
		}
	}
	return time.Time{}, time.Time{}, false
}

// begun are the quiet hours that begin so many days after the local day of t.
func (q Quiet) begun(t time.Time, days int) (start, end time.Time, ok bool) {
	year, month, day := t.In(q.zone()).Date()
	weekday := time.Date(year, month, day+days, 0, 0, 0, 0, time.UTC).Weekday()
	if q.From == q.To || len(q.Days) > 0 && !slices.Contains(q.Days, weekday) {
		return start, end, false
	}
	to := q.To
	if q.To < q.From {
		to += dayMin
	}
	return localInstant(year, month, day+days, q.From, q.zone()), localInstant(year, month, day+days, to, q.zone()), true
}

// Nights are somebody's quiet hours in all: what one of them holds is held, and nights that
// touch are one.
type Nights []Quiet

// maxNight ends a night that would never end.
const maxNight = 8 * 24 * time.Hour

// Holds says whether word of an action has to wait at now, and until when.
func (n Nights) Holds(do maintenance.Do, now time.Time) (until time.Time, held bool) {
	_, until, held = n.night(do, now)
	return until, held
}

// night is the stretch of quiet hours for an action that t lies in.
func (n Nights) night(do maintenance.Do, t time.Time) (start, end time.Time, ok bool) {
	start, end, ok = n.one(do, t)
	for ok && end.Sub(t) < maxNight {
		_, later, more := n.one(do, end)
		if !more {
			break
		}
		end = later
	}
	for ok && t.Sub(start) < maxNight {
		earlier, _, more := n.one(do, start.Add(-1))
		if !more {
			break
		}
		start = earlier
	}
	return start, end, ok
}

// one is the first of the windows for an action that t lies in.
func (n Nights) one(do maintenance.Do, t time.Time) (start, end time.Time, ok bool) {
	for _, q := range n {
		if q.spares(do) {
			continue
		}
		if start, end, ok = q.window(t); ok {
			return start, end, true
		}
	}
	return start, end, false
}

// coming is the night that t lies in, or else the next for an action.
func (n Nights) coming(do maintenance.Do, t time.Time) (start, end time.Time, ok bool) {
	if start, end, ok = n.night(do, t); ok {
		return start, end, true
	}
	var first time.Time
	for _, q := range n {
		for days := 0; days <= 8 && !q.spares(do); days++ {
			begins, _, any := q.begun(t, days)
			if any && begins.After(t) && (first.IsZero() || begins.Before(first)) {
				first = begins
			}
		}
	}
	if first.IsZero() {
		return start, end, false
	}
	return n.night(do, first)
}

func (q Quiet) zone() *time.Location {
	if q.Zone == nil {
		return time.UTC
	}
	return q.Zone
}

// localInstant is the first instant of a local day at which the clock on the wall shows so
// many minutes after midnight. A time that exists twice is the first of the two; one that
// the clocks skip is the moment they are put forward.
func localInstant(year int, month time.Month, day, minute int, zone *time.Location) time.Time {
	return onWall(time.Date(year, month, day, 0, minute, 0, 0, time.UTC), zone)
}

// onWall finds the instant for a reading of the local clock, given as if it were UTC.
func onWall(wall time.Time, zone *time.Location) time.Time {
	var guess time.Time
	for _, near := range []time.Duration{-24 * time.Hour, 24 * time.Hour} {
		_, offset := wall.Add(near).In(zone).Zone()
		t := wall.Add(-time.Duration(offset) * time.Second).In(zone)
		if wallOf(t).Equal(wall) {
			return t
		}
		if guess.IsZero() {
			guess = t
		}
	}
	start, _ := guess.ZoneBounds()
	return start
}

// wallOf reads the local clock at t, as if it were UTC.
func wallOf(t time.Time) time.Time {
	_, offset := t.Zone()
	return t.UTC().Add(time.Duration(offset) * time.Second)
}

// A Schedule gives the next occasion after an instant, as a cron expression does.
type Schedule interface {
	Next(time.Time) time.Time
}

// NextLocal is the next occasion of a schedule after an instant, by the clock on the wall of
// a zone: each occasion comes once, also on the days on which the clocks are changed. One
// that the clocks skip comes when they are put forward. The zero time is never.
func NextLocal(s Schedule, after time.Time, zone *time.Location) time.Time {
	wall := wallOf(after.In(zone))
	for {
		wall = s.Next(wall)
		if wall.IsZero() {
			return wall
		}
		if t := onWall(wall, zone); t.After(after) {
			return t
		}
	}
}
