// Package calendar shows the book's actions as an iCalendar feed (RFC 5545, RFC 7986).
//
// Three pure steps, all of which the daemon calls: Events turns actions into events, a
// Ledger says which of them are news and gives each its number, and Render writes what the
// ledger holds. Rendering knows no clock: the same ledger gives the same bytes.
//
// The ledger outlives a restart: the daemon keeps each record beside the book, and only then
// in memory. A backup holds it too. After a restore, an event that had changed since takes
// its number again, with a later stamp; feeds are replaced whole, so no client minds. A
// clock set back does not set a stamp back; it stays until the clock has passed it. A ledger
// that is lost begins anew at number 0, with the same UIDs.
package calendar

import (
	"slices"
	"time"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// An Event is what the calendar shows of one action. Its times are in UTC, to the second.
type Event struct {
	ID       string     `json:"id"` // of the action; it makes the UID
	Status   Status     `json:"status"`
	Opens    time.Time  `json:"opens,omitzero"`
	Due      time.Time  `json:"due,omitzero"`
	Low      *time.Time `json:"low,omitzero"` // of an expected due time: the ends of its interval
	High     *time.Time `json:"high,omitzero"`
	Day      string     `json:"day,omitzero"` // 2026-12-01, of an event that lasts that whole day
	Task     string     `json:"task,omitzero"`
	Reasons  []string   `json:"reasons,omitzero"`
	Cautions []string   `json:"cautions,omitzero"`
}

// Status says how an event stands.
type Status string

// Expected events have an estimated time; Gone ones are no longer asked for, and after a
// while Forgotten: those are not shown any more.
const (
	Expected  Status = "expected"
	Planned   Status = "planned"
	Open      Status = "open"
	Overdue   Status = "overdue"
	Gone      Status = "gone"
	Forgotten Status = "forgotten"
)

// Events turns actions into events, in the voice and the zone of a person.
func Events(actions []maintenance.Action, v notify.Voice) []Event {
	all := make([]Event, len(actions))
	for i, a := range actions {
		all[i] = Event{
			ID: a.ID, Status: statusOf(a), Opens: second(a.Opens), Due: second(a.Due),
			Task: plain(notify.Task(a)), Reasons: allPlain(v.Reasons(a)), Cautions: allPlain(a.Cautions),
		}
		if all[i].Status == Expected && a.DueHigh != nil {
			low, high := second(*a.DueLow), second(*a.DueHigh)
			all[i].Low, all[i].High = &low, &high
		}
		if a.Do == maintenance.DoReplace { // the day matters, not the hour
			all[i].Day = a.Due.In(zoneOf(v.Zone)).Format(time.DateOnly)
		}
	}
	return all
}

func statusOf(a maintenance.Action) Status {
	switch {
	case a.State == maintenance.Coming && isEstimate(a):
		return Expected
	case a.State == maintenance.Coming:
		return Planned
	case a.State == maintenance.Overdue && a.Due.After(a.Opens): // else it is open from then on
		return Overdue
	}
	return Open
}

// isEstimate says whether a coming action's time is one. Of an action that a person has put
// off it may say so too: what it was put off from is not told.
func isEstimate(a maintenance.Action) bool {
	switch a.Do {
	case maintenance.DoDrain, maintenance.DoTopUp, maintenance.DoDecant, maintenance.DoSeparate, maintenance.DoBuyOil:
		return true // when a pump stops, a jar has settled or frozen, or oil is worn
	case maintenance.DoReplace:
		_, drained := a.Record.Act.(*maintenance.FillAct)
		return !drained // else its time is that of the filling
	case maintenance.DoCare:
		return slices.ContainsFunc(a.Why, func(r maintenance.Reason) bool { return r.Rule != "days" })
	}
	return a.DueLow != nil
}

func second(t time.Time) time.Time { return t.UTC().Truncate(time.Second) }

func zoneOf(zone *time.Location) *time.Location {
	if zone == nil {
		return time.UTC
	}
	return zone
}
