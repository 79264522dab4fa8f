package notify

import "time"

// digestAction stands where other keys have the action.
const digestAction = "digest"

// digests plans the day's plan for the channels that get it: occasions that were missed are
// one digest, and Count is the last of them as the local clock read it, in minutes since 1970.
func (pl *planner) digests() {
	if pl.policy.Digest == nil {
		return
	}
	zone := pl.policy.Quiet.zone()
	for _, channel := range pl.policy.DigestTo {
		at := line{digestAction, channel}
		fire, next := pl.occasion(pl.ledger.threads[at], zone)
		pl.next(next)
		if fire.IsZero() {
			continue
		}
		s := step{Daily, int(wallOf(fire.In(zone)).Unix() / 60)}
		pl.drop(at, func(other step) string {
			if other == s {
				return ""
			}
			return "a newer digest is due"
		})
		if t := pl.ledger.threads[at]; !t.get(s).settled() {
			pl.say(Reminder{Key: keyOf(at, s), Agenda: pl.facts.Actions, Since: fire, Reason: "it is time for the digest"})
		}
	}
}

// occasion is the latest occasion for a digest up to now, unless it came before the last
// digest, and the next one after now. A channel that never had one looks back for a day.
func (pl *planner) occasion(t *thread, zone *time.Location) (fire, next time.Time) {
	after := pl.now.Add(-24 * time.Hour)
	if t != nil {
		last := onWall(time.Unix(int64(t.latest)*60, 0).UTC(), zone)
		if !last.After(pl.now.Add(24 * time.Hour)) { // else a clock that was wrong wrote it
			after = latest(last.Add(-time.Minute), pl.now.Add(-8*24*time.Hour))
		}
	}
	next = NextLocal(pl.policy.Digest, after, zone)
	for !next.IsZero() && !next.After(pl.now) {
		fire, next = next, NextLocal(pl.policy.Digest, next, zone)
	}
	return fire, next
}

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
