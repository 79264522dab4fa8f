package web

import (
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"sumpbook/maintenance"
)

type historyPage struct {
	frame
	Saved *saved
	Lines []told
}

// A told is one entry in the history.
type told struct {
	ID, Day, Clock, Says, Note, By, Late string
	Gone                                 bool
	Void                                 *sheet
}

// A saved says what the form before this page did.
type saved struct {
	Says    string
	Remarks []string
	Undo    *sheet
}

func (p *Pages) historyPage(v View, r *http.Request) historyPage {
	h := historyPage{frame: p.frameOf(v, "History", "history"), Saved: p.saved(v, r)}
	day := ""
	for _, e := range v.Recent {
		t := v.told(e)
		if t.Day == day {
			t.Day = ""
		} else {
			day = t.Day
		}
		h.Lines = append(h.Lines, t)
	}
	return h
}

// lateTold is how long after the fact an entry is said to have been told late.
const lateTold = 10 * time.Minute

func (v View) told(e maintenance.Entry) told {
	at := e.At.In(v.Zone)
	t := told{ID: anchor(e.ID), Day: at.Format("Mon 2 Jan 2006"), Clock: at.Format("15:04"), Says: v.sentence(e), Note: e.Note, By: e.By, Gone: v.withdrawn(e.ID)}
	if e.Recorded.Sub(e.At) > lateTold {
		t.Late = "told " + v.clock(e.Recorded)
	}
	if e.Act.Kind() != "void" && !t.Gone {
		t.Void = &sheet{Kind: "void", Key: newKey(), About: e.ID}
	}
	return t
}

// gonePage says that an action is not asked for, and shows the entry that settled it.
func (p *Pages) gonePage(v View, action, heading, says string) messagePage {
	m := messagePage{frame: p.frameOf(v, heading, ""), Heading: heading, Says: says, Hint: "The start page shows what is to do now."}
	if e, ok := v.settled(action); ok {
		t := v.told(e)
		t.Void = nil
		m.Told = &t
	}
	return m
}

// settling are the kinds of entry that settle an action.
var settling = map[string][]string{
	"stop-pump": {"stop"}, "drain": {"drain"}, "fill": {"fill"}, "top-up": {"fill"}, "replace": {"fill", "drain"}, "decant": {"decant"}, "separate": {"separate"},
	"freeze": {"freeze"}, "filter": {"filter"}, "change-medium": {"medium"}, "check": {"note"}, "care": {"care"}, "hand-in": {"discard"}, "buy-oil": {"lot"},
}

// settled is the newest entry that answers an action: of a kind that settles it, on its
// pump or vessel; or one that let it wait or set it aside.
func (v View) settled(action string) (maintenance.Entry, bool) {
	do, rest, _ := strings.Cut(action, "/")
	subject, _, _ := strings.Cut(rest, "/")
	subject, _, _ = strings.Cut(subject, "@") // upkeep is of a task at a pump
	for _, e := range v.Recent {
		members, err := membersOf(e)
		if err != nil || v.withdrawn(e.ID) {
			continue
		}
		if plain(members["action"]) == action {
			return e, true
		}
		for _, name := range []string{"pump", "vessel", "from", "task", "medium"} {
			if slices.Contains(settling[do], e.Act.Kind()) && subject != "" && plain(members[name]) == subject {
				return e, true
			}
		}
	}
	return maintenance.Entry{}, false
}

// saved is what the form that led here did, as the book shows it.
func (p *Pages) saved(v View, r *http.Request) *saved {
	e, ok := v.entry(r.URL.Query().Get("saved"))
	if !ok {
		return nil
	}
	gone := v.withdrawn(e.ID)
	s := v.saved(e, gone, r.URL.Query().Has("again"))
	s.Remarks = p.remarks.of(e.ID)
	if !gone && e.Act.Kind() != "void" {
		s.Undo = &sheet{Kind: "void", Key: newKey(), About: e.ID}
	}
	return s
}

// saved says that an entry is on the book.
func (v View) saved(e maintenance.Entry, withdrawn, again bool) *saved {
	word := "Saved "
	if again {
		word = "Already saved "
	}
	s := &saved{Says: word + v.clock(e.Recorded) + ": " + v.sentence(e)}
	if withdrawn {
		s.Says += " (withdrawn since)"
	}
	return s
}

// remarks keeps what taking the newest entries meant until the page that follows the form
// shows it. It is bounded, and losing it loses no entry.
type remarks struct {
	sync.Mutex
	ids   []string
	texts map[string][]string
}

const maxRemarks = 64

func (m *remarks) keep(id string, texts []string) {
	if len(texts) == 0 {
		return
	}
	m.Lock()
	defer m.Unlock()
	if m.texts == nil {
		m.texts = map[string][]string{}
	}
	if _, ok := m.texts[id]; !ok {
		m.ids = append(m.ids, id)
	}
	m.texts[id] = texts
	if len(m.ids) > maxRemarks {
		delete(m.texts, m.ids[0])
		m.ids = slices.Clone(m.ids[1:])
	}
}

func (m *remarks) of(id string) []string {
	m.Lock()
	defer m.Unlock()
	return m.texts[id]
}

// sentenceOf makes a hint of the book a sentence of the page.
func sentenceOf(hint string) string {
	if hint == "" {
		return ""
	}
	return strings.TrimSuffix(capital(hint), ".") + "."
}
