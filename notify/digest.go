package notify

import (
	"strconv"
	"strings"
	"time"

	"sumpbook/maintenance"
)

// They stand where other keys have the action.
const (
	digestAction = "digest"
	weeklyAction = "weekly"
)

// bulletins plans the day's plan and the weekly word for the channels that get them.
func (pl *planner) bulletins() {
	pl.bulletin(pl.policy.Digest, digestAction, Daily, "it is time for the digest")
	pl.bulletin(pl.policy.Weekly, weeklyAction, Weekly, "it is time for the weekly word")
}

// bulletin plans what comes by a schedule: occasions that were missed are one, and Count is
// the last of them as the local clock read it, in minutes since 1970.
func (pl *planner) bulletin(schedule Schedule, action string, stage Stage, reason string) {
	if schedule == nil {
		return
	}
	zone := pl.policy.Quiet.zone()
	for _, channel := range pl.policy.DigestTo {
		at := line{action, channel}
		fire, next := pl.occasion(schedule, pl.ledger.threads[at])
		pl.next(next)
		if fire.IsZero() {
			continue
		}
		s := step{stage, int(wallOf(fire.In(zone)).Unix() / 60)}
		pl.drop(at, func(other step) string {
			if other == s {
				return ""
			}
			return "a newer one is due"
		})
		if t := pl.ledger.threads[at]; !t.get(s).settled() {
			pl.say(Reminder{Key: keyOf(at, s), Agenda: pl.facts.Actions, Runs: pl.facts.Runs, Since: fire, Reason: reason})
		}
	}
}

// occasion is the latest occasion of a schedule up to now, unless it came before the last
// that was taken, and the next one after now. A channel that never had one looks back for a
// day.
func (pl *planner) occasion(schedule Schedule, t *thread) (fire, next time.Time) {
	zone := pl.policy.Quiet.zone()
	after := pl.now.Add(-24 * time.Hour)
	if t != nil {
		last := onWall(time.Unix(int64(t.latest)*60, 0).UTC(), zone)
		if !last.After(pl.now.Add(24 * time.Hour)) { // else a clock that was wrong wrote it
			after = latest(last.Add(-time.Minute), pl.now.Add(-8*24*time.Hour))
		}
	}
	next = NextLocal(schedule, after, zone)
	for !next.IsZero() && !next.After(pl.now) {
		fire, next = next, NextLocal(schedule, next, zone)
	}
	return fire, next
}

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// weekly says that all is well, or what is not.
func (v Voice) weekly(r Reminder, now time.Time) (subject, text string) {
	var late strings.Builder
	overdue := 0
	for _, a := range r.Agenda {
		if a.State == maintenance.Overdue {
			overdue++
			late.WriteString("- " + v.agendaLine(a, now) + "\n")
		}
	}
	subject = "All well: "
	if overdue > 0 {
		subject = "To look at: "
	}
	subject += counted(r.Runs, "run") + " in seven days, " + strconv.Itoa(overdue) + " overdue"
	text = subject + ".\n"
	if overdue > 0 {
		text += "\nOverdue:\n" + late.String()
	}
	return subject, text
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}
