package web

import (
	"errors"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// FuzzForm sends any body to the decoder. What comes out of it is either a refusal or an
// entry that the action or the page asks for, under the form's own key.
func FuzzForm(f *testing.F) {
	key := "page-ABCDEFGHIJKLMNOPQRSTUVWXYZ"
	for _, body := range []string{
		"kind=drain&key=" + key + "&action=drain%2Fnorth%2Fn-start-9&to=jar-4&amount=640&unit=g&when=now",
		"kind=drain&key=" + key + "&action=drain%2Fnorth%2Fn-start-9&to=jar-4&amount=1+lb+6+oz&unit=oz&when=20m+ago",
		"kind=snooze&key=" + key + "&action=drain%2Fnorth%2Fn-start-9", "kind=skip&key=" + key + "&action=decant%2Fjar-3%2Fd-8&note=later",
		"kind=void&key=" + key + "&entry=f-8", "kind=void&kind=void", "kind=weigh&grams=1", "%ff=%00&kind=drain", "key=" + key, "",
	} {
		f.Add(body)
	}
	v := drainOpen()
	f.Fuzz(func(t *testing.T, body string) {
		sent, err := url.ParseQuery(body)
		if err != nil {
			return
		}
		read, err := decodeForm(sent)
		if err != nil {
			require.ErrorAs(t, err, new(*refusal))
			return
		}
		e, err := read.entry(v)
		if err != nil {
			require.True(t, errors.As(err, new(*refusal)) || errors.As(err, new(*maintenance.Rejection)), "%v", err)
			return
		}
		require.Equal(t, read.key, e.ID)
		require.Equal(t, read.kind, e.Act.Kind())
		switch a := e.Act.(type) {
		case *maintenance.DrainAct:
			require.Equal(t, "north", a.Pump)
			require.True(t, a.Grams == nil || *a.Grams > 0)
		case *maintenance.VoidAct:
			_, shown := v.entry(a.Entry)
			require.True(t, shown)
		case *maintenance.SnoozeAct, *maintenance.SkipAct, *maintenance.DecantAct:
		default:
			require.Fail(t, "nothing asks for this", e.Act.Kind())
		}
		again, err := maintenance.Decode(maintenance.Encode(e))
		require.NoError(t, err)
		require.Equal(t, maintenance.Content(e), maintenance.Content(again))
	})
}

// FuzzLinkForm sends any body to the page of a link. It never records more than the one
// entry that the link is for, and its undo.
func FuzzLinkForm(f *testing.F) {
	key := notify.Token{Key: notify.Key{Action: drainAction().ID, Stage: notify.Opened, Channel: "phone"}, Reply: notify.ReplyDone}.EntryID(0)
	for _, body := range []string{
		"kind=drain&key=" + key + "&action=drain%2Fnorth%2Fn-start-9&to=jar-4&amount=640&unit=g&when=now", "kind=seen&key=&action=x", "kind=seen", "kind=void&entry=f-8",
		"kind=drain&key=" + key + "-2&to=jar-4", "kind=void&key=" + key + "-undo&entry=" + key, "kind=skip&key=" + key + "&note=x", "kind=drain&kind=drain", "%ff=%00", "",
	} {
		f.Add(body, "done")
		f.Add(body, "seen")
	}
	f.Fuzz(func(t *testing.T, body, token string) {
		s := newVisit(t, drainOpen())
		sent, err := url.ParseQuery(body)
		if err != nil {
			return
		}
		path := "/a/" + url.PathEscape(token)
		for range 3 {
			w := s.postTo(path, sent)
			require.Less(t, w.Code, 500, w.Body.String())
		}
		require.LessOrEqual(t, len(s.desk.told), 1)
		for _, e := range s.desk.told {
			require.Equal(t, "phone", e.By)
			require.Regexp(t, `^link-[A-Z2-7]{26}$`, e.ID)
		}
	})
}
