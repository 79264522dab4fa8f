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
	From, To int
	Except   []maintenance.Do // said at any hour
	Zone     *time.Location   // nil is UTC
}

// Holds says whether word of an action has to wait at now, and until when: the first
// instant after the quiet hours. A pump without oil cannot wait.
func (q Quiet) Holds(do maintenance.Do, now time.Time) (until time.Time, held bool) {
	if do == maintenance.DoStopPump || slices.Contains(q.Except, do) {
		return time.Time{}, false
	}
	_, until, held = q.window(now)
	return until, held
}

// window is the stretch of quiet hours that t lies in. It is a stretch of instants, not of
// readings of the clock, so that an hour told twice in autumn does not make two of it.
func (q Quiet) window(t time.Time) (start, end time.Time, ok bool) {
	if q.From == q.To {
		return start, end, false
	}
	year, month, day := t.In(q.zone()).Date()
	for back := 1; back >= 0; back-- {
		start = localInstant(year, month, day-back, q.From, q.zone())
		to := q.To
		if q.To < q.From {
			to += dayMin
		}
		end = localInstant(year, month, day-back, to, q.zone())
		if !t.Before(start) && t.Before(end) {
			return start, end, true
		}
	}
	return time.Time{}, time.Time{}, false
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
