package web

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// Links in memory: a token is the name of its reply, "old" before it if it has expired.
type links struct {
	*desk
	heard   map[notify.Reply]bool
	openErr error
	gone    bool // what Answer says
}

func (l *links) Open(_ context.Context, text string) (Link, error) {
	if l.openErr != nil {
		return Link{}, l.openErr
	}
	const phone = "phone"
	name, old := strings.CutPrefix(text, "old-")
	link := Link{Token: notify.Token{Key: notify.Key{Action: drainAction().ID, Stage: notify.Opened, Channel: phone}, Reply: notify.Reply(name), Expires: now.Add(49 * time.Hour)}, By: phone}
	if old {
		link.Expires = now
	}
	if name == "forged" {
		return Link{}, notify.ErrForged
	}
	link.Heard = l.heard[link.Reply]
	for again := range 9 {
		link.ID = link.EntryID(again)
		e, found := l.desk.view.entry(link.ID)
		if !found {
			break
		}
		link.Saved, link.Withdrawn = &e, l.desk.view.withdrawn(e.ID)
		if !link.Withdrawn {
			break
		}
	}
	return link, nil
}

func (l *links) Answer(ctx context.Context, link Link, e maintenance.Entry) ([]string, bool, error) {
	if l.gone {
		return nil, false, ErrGone
	}
	if e.Act == nil {
		l.heard = map[notify.Reply]bool{link.Reply: true}
		return nil, false, nil
	}
	return l.desk.Record(ctx, e)
}

func (s *visit) links() *links { return s.pages.links.(*links) }

func (s *visit) postTo(path string, fields url.Values) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(fields.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	s.mux.ServeHTTP(w, r)
	return w
}

// linkForm reads the one form of a link's page, and where it goes.
func (s *visit) linkForm(page string) (to string, fields url.Values) {
	s.t.Helper()
	_, rest, ok := strings.Cut(page, `<form method="post" action="`)
	require.True(s.t, ok, "a form: %s", page)
	to, rest, _ = strings.Cut(rest, `"`)
	text, rest, _ := strings.Cut(rest, "</form>")
	require.NotContains(s.t, rest, "<form", "one form")
	require.Equal(s.t, 1, strings.Count(text, "<button"), "one button")
	return "/a/" + to, sent(text)
}

// press presses the button of a link's page, and gives the page that follows.
func (s *visit) press(path string, change ...string) string {
	s.t.Helper()
	to, fields := s.linkForm(s.get(path).Body.String())
	for i := 0; i < len(change); i += 2 {
		fields.Set(change[i], change[i+1])
	}
	w := s.postTo(to, fields)
	require.Equal(s.t, http.StatusSeeOther, w.Code, w.Body.String())
	return s.get("/a/" + w.Header().Get("Location")).Body.String()
}

func TestGoldenLinks(t *testing.T) {
	for name, change := range map[string]func(s *visit){
		"link-done": nil, "link-hour": nil, "link-tonight": nil, "link-skip": nil, "link-seen": nil, "link-wake": nil, "link-forged": nil,
		"link-old-done": nil,
		"link-done-saved": func(s *visit) {
			s.desk.says = []string{"the oil was about 58 °C"}
			s.press("/a/done", "amount", "655")
		},
		"link-done-withdrawn": func(s *visit) { s.press("/a/done"); s.press("/a/done") },
		"link-seen-saved":     func(s *visit) { s.press("/a/seen") },
		"link-hour-saved":     func(s *visit) { s.press("/a/hour") },
		"link-done-answered": func(s *visit) {
			e := entry("d-9", ago(2*time.Minute), &maintenance.DrainAct{Pump: "north", To: "jar-4", Amount: maintenance.Amount{Grams: num(640)}})
			e.By = "ana"
			s.desk.keep(e)
			s.desk.view.Actions = s.desk.view.Actions[1:]
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := newVisit(t, drainOpen())
			s.desk.view.Failing = []string{"mail"}
			if change != nil {
				change(s)
			}
			path := "/a/" + strings.TrimPrefix(name, "link-")
			for _, end := range []string{"-saved", "-withdrawn", "-answered"} {
				path = strings.TrimSuffix(path, end)
			}
			page := s.get(path).Body.String()
			golden(t, name, page)
			requireWhole(t, page)
			require.NotContains(t, page, `href="/`, "it leads nowhere that asks for a login")
			require.NotContains(t, page, "mail", "nor tells what it need not")
			require.Empty(t, s.log.String())
		})
	}
}

func TestEachReplyIsRecordedOnce(t *testing.T) {
	for reply, want := range map[notify.Reply]string{
		notify.ReplyDone:    `{"kind":"drain","pump":"north","to":"jar-4","grams":640,"by":"phone"}`,
		notify.ReplyHour:    `{"kind":"snooze","action":"drain/north/n-start-9","until":"2026-11-24T22:04:00+01:00","by":"phone"}`,
		notify.ReplyTonight: `{"kind":"snooze","action":"drain/north/n-start-9","until":"2026-11-25T08:00:00+01:00","by":"phone"}`,
		notify.ReplySkip:    `{"kind":"skip","action":"drain/north/n-start-9","note":"set aside from a reminder","by":"phone"}`,
	} {
		t.Run(string(reply), func(t *testing.T) {
			s := newVisit(t, drainOpen())
			path := "/a/" + string(reply)
			to, fields := s.linkForm(s.get(path).Body.String())
			require.Empty(t, s.desk.told, "asking changes nothing")
			require.Contains(t, s.press(path), "Saved 21:04")
			require.Len(t, s.desk.told, 1)
			e := s.desk.told[0]
			require.Regexp(t, `^link-[A-Z2-7]{26}$`, e.ID)
			e.ID, e.At = "", time.Time{}
			e.Seq, e.Recorded, e.Prev, e.Hash = 0, time.Time{}, "", ""
			require.JSONEq(t, want, string(maintenance.Encode(e)))

			s.desk.view.Now = now.Add(10 * time.Minute) // the same form again, as a phone without an answer sends it
			w := s.postTo(to, fields)
			require.Equal(t, http.StatusSeeOther, w.Code)
			require.Contains(t, s.get("/a/"+w.Header().Get("Location")).Body.String(), "Already saved 21:04")
			require.Len(t, s.desk.told, 1)

			require.Contains(t, s.press(path), "withdrawn since")
			require.Len(t, s.desk.told, 2)
			require.Equal(t, s.desk.told[0].ID, s.desk.told[1].Act.(*maintenance.VoidAct).Entry)
			require.Equal(t, http.StatusConflict, s.postTo(to, fields).Code, "what was undone does not come back by itself")
			require.Contains(t, s.press(path), "Saved 21:14", "an undo gives the use back")
			require.Equal(t, s.desk.told[0].ID+"-2", s.desk.told[2].ID)
		})
	}
}

// A change of the amount is one of the same answer; after it, another is refused.
func TestTheAmountOfALink(t *testing.T) {
	s := newVisit(t, drainOpen())
	to, fields := s.linkForm(s.get("/a/done").Body.String())
	fields.Set("amount", "1.4 lb")
	require.Equal(t, http.StatusSeeOther, s.postTo(to, fields).Code)
	require.InDelta(t, 635, *s.desk.told[0].Act.(*maintenance.DrainAct).Grams, 0.1)
	fields.Set("amount", "700")
	w := s.postTo(to, fields)
	require.Equal(t, http.StatusConflict, w.Code)
	require.Contains(t, w.Body.String(), "used before, with other values")
	requireWhole(t, w.Body.String())
	require.Len(t, s.desk.told, 1)
}

func TestRejectedLinkForm(t *testing.T) {
	s := newVisit(t, drainOpen())
	s.desk.refuse = &maintenance.Rejection{Field: "grams", Says: "north holds 668 g by the book, 900 g cannot leave it", Hint: "weigh the sump to set the book right"}
	to, fields := s.linkForm(s.get("/a/done").Body.String())
	fields.Set("amount", "900")
	w := s.postTo(to, fields)
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	golden(t, "link-done-rejected", w.Body.String())
	_, again := s.linkForm(w.Body.String())
	require.Equal(t, fields, again, "the form keeps what was typed")

	s.desk.refuse = errors.New("broken: /secret/place")
	w = s.postTo(to, fields)
	require.Equal(t, http.StatusInternalServerError, w.Code)
	requireWhole(t, w.Body.String())
	require.Contains(t, w.Body.String(), "it is not known whether this was kept")
	require.NotContains(t, w.Body.String(), "/secret/")
}

func TestLinksThatDoNothing(t *testing.T) {
	answered := func(s *visit) { s.desk.view.Actions = nil }
	for name, c := range map[string]struct {
		path   string
		change func(s *visit)
		status int
		says   string
	}{
		"Forged":        {"/a/forged", nil, 403, "not one of this book"},
		"Expired":       {"/a/old-done", nil, 410, "still to do"},
		"Gone":          {"/a/done", answered, 410, "no longer asked for"},
		"GoneSnooze":    {"/a/hour", answered, 410, "no longer asked for"},
		"GoneSeen":      {"/a/seen", answered, 410, "no longer asked for"},
		"CannotWait":    {"/a/hour", func(s *visit) { s.desk.view.Actions[0].Do = maintenance.DoStopPump }, 409, "cannot be answered by a link"},
		"NothingToTap":  {"/a/done", func(s *visit) { s.desk.view.Actions[0].Record.Act = nil }, 409, "cannot be answered by a link"},
		"NoForm":        {"/a/done", func(s *visit) { s.desk.view.Actions[0].Record.Act = &maintenance.WeighAct{Pump: "north"} }, 409, "cannot be answered by a link"},
		"OurFault":      {"/a/done", func(s *visit) { s.links().openErr = errors.New("/secret/") }, 500, "went wrong on our side"},
		"NoBook":        {"/a/done", func(s *visit) { s.desk.lookErr = errors.New("/secret/") }, 500, "went wrong on our side"},
		"MeanwhileGone": {"/a/done", func(s *visit) { s.links().gone = true }, 410, "no longer asked for"},
	} {
		t.Run(name, func(t *testing.T) {
			s := newVisit(t, drainOpen())
			kind := map[string]string{"/a/hour": "snooze", "/a/seen": "seen"}[c.path]
			if kind == "" {
				kind = "drain"
			}
			l, _ := s.links().Open(t.Context(), strings.TrimPrefix(c.path, "/a/"))
			if c.change != nil {
				c.change(s)
			}
			fields := url.Values{"kind": {kind}, "key": {l.ID}, "action": {drainAction().ID}}
			if kind == "drain" {
				fields["to"], fields["amount"], fields["unit"] = []string{"jar-4"}, []string{"640"}, []string{"g"}
			}
			post := s.postTo(c.path, fields)
			get := s.get(c.path)
			if name == "MeanwhileGone" {
				get = post
			}
			for _, w := range []*httptest.ResponseRecorder{get, post} {
				require.Equal(t, c.status, w.Code, w.Body.String())
				require.Contains(t, w.Body.String(), c.says)
				requireWhole(t, w.Body.String())
				require.NotContains(t, w.Body.String(), "/secret/")
				if c.status == 403 {
					require.NotContains(t, w.Body.String(), "north")
				}
			}
			require.NotContains(t, s.log.String(), c.path, "the log holds no token")
			require.Empty(t, s.desk.told)
		})
	}
}

func TestFormsThatAreNotTheLinks(t *testing.T) {
	s := newVisit(t, drainOpen())
	to, good := s.linkForm(s.get("/a/done").Body.String())
	_, seen := s.linkForm(s.get("/a/seen").Body.String())
	for name, c := range map[string]struct {
		to     string
		change url.Values
		status int
	}{
		"OtherKind":   {to, url.Values{"kind": {"fill"}, "to": nil}, 409},
		"Skip":        {to, url.Values{"kind": {"skip"}, "to": nil, "amount": nil, "unit": nil, "when": nil}, 409},
		"NoKind":      {to, url.Values{"kind": nil}, 400},
		"OtherKey":    {to, url.Values{"key": {"link-AAAAAAAAAAAAAAAAAAAAAAAAAA"}}, 409},
		"PageKey":     {to, url.Values{"key": {newKey()}}, 409},
		"NoKey":       {to, url.Values{"key": nil}, 409},
		"More":        {to, url.Values{"by": {"ben"}}, 400},
		"Twice":       {to, url.Values{"amount": {"1", "2"}}, 400},
		"UndoNothing": {to, url.Values{"kind": {"void"}, "entry": {"n-stop-9"}, "action": nil, "to": nil, "amount": nil, "unit": nil, "when": nil}, 409},
		"SeenAndMore": {"/a/seen", url.Values{"kind": {"seen"}, "key": {seen.Get("key")}, "to": nil, "unit": nil, "when": nil, "amount": {"3"}}, 400},
	} {
		t.Run(name, func(t *testing.T) {
			fields := url.Values{}
			for k, v := range good {
				fields[k] = v
			}
			for k, v := range c.change {
				if fields[k] = v; v == nil {
					delete(fields, k)
				}
			}
			w := s.postTo(c.to, fields)
			require.Equal(t, c.status, w.Code, w.Body.String())
			requireWhole(t, w.Body.String())
			require.Empty(t, s.desk.told)
		})
	}
}

// Told without a page, the same words come back; what is wrong is said in a sentence.
func TestAnswerWithoutAPage(t *testing.T) {
	s := newVisit(t, drainOpen())
	answer := func(token string, typed map[string]string) (string, string) {
		said, err := s.pages.Answer(t.Context(), token, typed)
		if err != nil {
			return "", said
		}
		return said, ""
	}
	for _, c := range []struct {
		token      string
		typed      map[string]string
		said, fail string
	}{
		{"forged", nil, "", "This link is not one of this book, or was cut short on its way. Open it from the reminder itself, whole."},
		{"done", map[string]string{"amount": "lots", "unit": "g"}, "", "Not saved: amount: this is not an amount of oil. Write it like 640, 0.7 l or 1.4 lb."},
		{"skip", map[string]string{"amount": "3", "unit": "g"}, "", "Not saved: amount: this reply has none. Leave it out."},
		{"done", map[string]string{"amount": "612.5", "unit": "g"}, "Saved 21:04: north drained into jar-4, 613\u00a0g", ""},
		{"done", nil, "Saved 21:04: north drained into jar-4, 613\u00a0g", ""},
		{"done", map[string]string{"amount": "612.5", "unit": "g"}, "Saved 21:04: north drained into jar-4, 613\u00a0g", ""},
		{"done", map[string]string{"amount": "700", "unit": "g"}, "", "Not saved: this was answered before, with other values."},
		{"seen", nil, heardWords[notify.ReplySeen], ""},
		{"seen", nil, heardWords[notify.ReplySeen], ""},
	} {
		said, fail := answer(c.token, c.typed)
		require.Equal(t, c.fail, fail)
		require.Equal(t, c.said, strings.ReplaceAll(said, "612.5", "613"))
	}
	require.Len(t, s.desk.told, 1)
	require.Contains(t, s.press("/a/done"), "withdrawn since")
	_, fail := answer("done", nil)
	require.Contains(t, fail, "(withdrawn since). The next reminder has links")
	require.Len(t, s.desk.told, 2, "a message that comes twice does not undo an undo")
}
