package daemon

import (
	"bytes"
	"context"
	"fmt"
	"html"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/maintenance"
	"sumpbook/notify"
)

// A doorstep is a book with a drain to answer, seen from beyond its machine.
type doorstep struct {
	t   *testing.T
	k   *Keeper
	now *time.Time
	h   http.Handler
	log *safeBuffer
}

const drainID = "drain/north/s1"

func newDoorstep(t *testing.T) *doorstep {
	t.Helper()
	c := config.Default()
	c.Timezone, c.Listen, c.BaseURL = time.UTC, "192.0.2.7:8417", "http://192.0.2.7:8417"
	k, now := newTestKeeper(t, c)
	log := &safeBuffer{}
	k.log = slog.New(slog.NewTextHandler(log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	k.outbox.log = k.log
	*now = day0.Add(24*time.Hour + 10*time.Minute)
	_, err := k.book.Record(context.Background(), *now, append(opening(t),
		entry(t, day0.Add(10*time.Minute), `{"id":"s1","kind":"start","pump":"north"}`),
		entry(t, day0.Add(24*time.Hour), `{"id":"s2","kind":"stop","pump":"north","hot_c":66}`)))
	require.NoError(t, err)
	return &doorstep{t, k, now, page0(t, k), log}
}

// token is the link of a reply that the channel's first reminder carries.
func (d *doorstep) token(reply notify.Reply, channel string) string {
	return d.k.signer.Sign(notify.Token{Key: notify.Key{Action: drainID, Stage: notify.Opened, Channel: channel}, Reply: reply, Expires: d.now.Add(48 * time.Hour)})
}

func (d *doorstep) get(path string, headers ...string) *httptest.ResponseRecorder {
	return send(d.h, "GET", path, "", append([]string{"Host", "192.0.2.7:8417", "From", "192.0.2.9:5"}, headers...)...)
}

func (d *doorstep) post(path string, form url.Values, headers ...string) *httptest.ResponseRecorder {
	return send(d.h, "POST", path, form.Encode(), append([]string{"Host", "192.0.2.7:8417", "From", "192.0.2.9:5",
		"Content-Type", "application/x-www-form-urlencoded", "Origin", "http://192.0.2.7:8417", "Sec-Fetch-Site", "same-origin"}, headers...)...)
}

var inputText = regexp.MustCompile(`<input[^>]* name="([^"]*)"[^>]* value="([^"]*)"`)

// formOf is the one form of a page, as a browser sends it.
func formOf(t require.TestingT, page string) url.Values {
	require.Equal(t, 1, strings.Count(page, "<form"), page)
	form := url.Values{}
	for _, m := range inputText.FindAllStringSubmatch(page, -1) {
		form.Set(m[1], html.UnescapeString(m[2]))
	}
	if m := regexp.MustCompile(`<textarea[^>]* name="([^"]*)"[^>]*>([^<]*)<`).FindStringSubmatch(page); m != nil {
		form.Set(m[1], html.UnescapeString(m[2]))
	}
	if strings.Contains(page, `<select name="unit"`) {
		form.Set("unit", "g")
	}
	return form
}

func (d *doorstep) stored() string {
	b, err := os.ReadFile(BookPath(d.k.settings.Data))
	require.NoError(d.t, err)
	return string(b)
}

// answers are the notices of answers, and the entries that links recorded.
func answers(t require.TestingT, k *Keeper) (notices []notify.Notice, entries []maintenance.Entry) {
	require.NoError(t, k.book.journal.Notices(0, func(n notify.Notice) error {
		if n.Outcome == notify.Answered || n.Outcome == notify.Seen {
			notices = append(notices, n)
		}
		return nil
	}))
	require.NoError(t, k.book.journal.Lines(0, func(_ uint64, line []byte) error {
		e, err := maintenance.Decode(line)
		if strings.HasPrefix(e.ID, "link-") {
			entries = append(entries, e)
		}
		return err
	}))
	return notices, entries
}

func TestALinkIsAnsweredFromBeyond(t *testing.T) {
	d := newDoorstep(t)
	token := d.token(notify.ReplyDone, "phone")
	before := d.stored()
	w := d.get("/a/" + token)
	require.Equal(t, 200, w.Code, w.Body.String())
	requireSecured(t, w.Header(), "a link")
	for range 3 {
		d.get("/a/" + token)
	}
	require.Equal(t, before, d.stored(), "looking changes nothing")
	require.Equal(t, 200, d.get("/a/"+token+"/style.css").Code)

	form := formOf(t, w.Body.String())
	form.Set("amount", "590")
	w = d.post("/a/"+token, form)
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body.String())
	require.Equal(t, token, w.Header().Get("Location"))
	page := d.get("/a/" + token).Body.String()
	require.Contains(t, page, "Saved "+d.now.Format("15:04")+": north drained into jar-1, 590")

	notices, entries := answers(t, d.k)
	require.Len(t, entries, 1)
	require.Equal(t, "phone", entries[0].By)
	require.Equal(t, 590.0, *entries[0].Act.(*maintenance.DrainAct).Grams)
	require.Len(t, notices, 1)
	require.Equal(t, notify.Notice{Seq: 1, At: notices[0].At, Key: notify.Key{Action: drainID, Stage: notify.Opened, Channel: "phone"}, Outcome: notify.Answered,
		By: "phone", Reply: notify.ReplyDone, Entry: entries[0].ID}, notices[0])

	for name, c := range map[string]struct {
		token  string
		status int
	}{
		"Another channel's": {d.token(notify.ReplyDone, "mail"), 410}, "A snooze": {d.token(notify.ReplyHour, "phone"), 410}, "Seen": {d.token(notify.ReplySeen, "phone"), 410},
	} {
		w := d.get("/a/" + c.token)
		require.Equal(t, c.status, w.Code, name)
		require.Contains(t, w.Body.String(), "Answered already: north drained into jar-1, 590\u00a0g, "+d.now.Format("15:04")+", by phone.", name)
	}

	undo := formOf(t, page)
	require.Equal(t, http.StatusSeeOther, d.post("/a/"+token, undo).Code)
	require.Equal(t, http.StatusSeeOther, d.post("/a/"+token, undo).Code, "twice is once")
	require.False(t, d.k.book.now.Load().state.Pumps["north"].Open)
	require.Contains(t, d.get("/a/"+token).Body.String(), "(withdrawn since)")
	requireWhole(t, d.k.book)
	require.NotContains(t, d.log.String(), token)
}

// Whoever a channel belongs to has answered.
func TestAPersonAnswers(t *testing.T) {
	d := newDoorstep(t)
	d.k.outbox.policy.People = []notify.Person{{Name: "ana", Channels: []string{"phone", "mail"}}}
	for _, channel := range []string{"mail", "bell"} {
		_, err := d.k.Answer(t.Context(), d.token(notify.ReplyHour, channel), Fields{})
		require.NoError(t, err)
	}
	notices, entries := answers(t, d.k)
	require.Equal(t, "ana", entries[0].By)
	require.Equal(t, "ana", notices[0].By)
	require.Equal(t, "bell", entries[1].By)
}

// An undo of what other entries rest on is refused, and says which.
func TestAnUndoThatCannotBe(t *testing.T) {
	d := newDoorstep(t)
	path := "/a/" + d.token(notify.ReplyDone, "phone")
	require.Equal(t, http.StatusSeeOther, d.post(path, formOf(t, d.get(path).Body.String())).Code)
	undo := formOf(t, d.get(path).Body.String())
	*d.now = d.now.Add(time.Hour)
	_, err := d.k.book.Record(t.Context(), *d.now, []maintenance.Entry{entry(t, *d.now, `{"id":"d9","kind":"discard","from":"jar-1","where":"spilled"}`)})
	require.NoError(t, err)
	w := d.post(path, undo)
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	require.Contains(t, w.Body.String(), "d9")
	_, entries := answers(t, d.k)
	require.Len(t, entries, 1)
}

// What a link lets in to is its page and the style of that, whatever is put behind it.
func TestALinkOpensNoOtherDoor(t *testing.T) {
	d := newDoorstep(t)
	token := d.token(notify.ReplyDone, "phone")
	for _, path := range []string{
		"/", "/style.css", "/jars", "/history", "/a/", "/a", "/a/" + token + "/", "/a/" + token + "/x", "/a/" + token + "/style.css/x", "/a/" + token + "/../../jars",
		"/a/" + token + "/..%2f..%2fjars", "/a/" + token + "%2fstyle.css", "/a//" + token, "/A/" + token, "/actions/" + token, "/a/" + token + "/api/v1/state",
		"/api/v1/state?token=" + token, "/a/" + token + "%00",
	} {
		require.Equal(t, http.StatusUnauthorized, d.get(path).Code, path)
	}
	for _, credential := range []string{"Bearer " + token, "Basic " + token, token} {
		require.Equal(t, http.StatusUnauthorized, d.get("/api/v1/state", "Authorization", credential).Code)
	}
	form := formOf(t, d.get("/a/"+token).Body.String())
	require.Equal(t, http.StatusUnauthorized, d.post("/record", form).Code)
	require.Equal(t, http.StatusUnauthorized, d.post("/api/v1/entries", form, "Content-Type", "application/json").Code)

	seq, head := d.k.book.Head()
	for _, headers := range [][]string{
		{"Origin", "http://evil.example"}, {"Origin", "null"}, {"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"}, {"Host", "evil.example"},
		{"Origin", "http://192.0.2.7:1", "Sec-Fetch-Site", ""},
	} {
		asProblem(t, d.post("/a/"+token, form, headers...), http.StatusForbidden)
	}
	for _, method := range []string{"PUT", "DELETE", "PATCH", "OPTIONS"} {
		require.Equal(t, http.StatusMethodNotAllowed, send(d.h, method, "/a/"+token, form.Encode(), "Host", "192.0.2.7:8417", "From", "192.0.2.9:5").Code, method)
	}
	require.Equal(t, 200, send(d.h, "HEAD", "/a/"+token, "", "Host", "192.0.2.7:8417", "From", "192.0.2.9:5").Code)
	after, same := d.k.book.Head()
	require.Equal(t, seq, after)
	require.Equal(t, head, same)
}

func TestBadLinksWait(t *testing.T) {
	d := newDoorstep(t)
	good, other := "/a/"+d.token(notify.ReplyDone, "phone"), newDoorstep(t)
	bad := "/a/" + other.token(notify.ReplyDone, "phone")
	for range badLinks {
		w := d.get(bad)
		require.Equal(t, http.StatusForbidden, w.Code)
		require.Contains(t, w.Header().Get("Content-Type"), "text/html")
		require.NotContains(t, w.Body.String(), "north")
	}
	w := d.get(bad)
	asProblem(t, w, http.StatusTooManyRequests)
	require.Equal(t, "61", w.Header().Get("Retry-After"))
	require.Equal(t, http.StatusTooManyRequests, d.get(bad, "From", "192.0.2.9:77").Code, "by address, whatever the port")
	require.Equal(t, http.StatusForbidden, d.get(bad, "From", "127.0.0.1:5").Code, "this machine waits for nothing")
	require.Equal(t, 200, d.get(good).Code, "whoever else knocks from there is let in")
	*d.now = d.now.Add(badLinksFor)
	require.Equal(t, http.StatusForbidden, d.get(bad).Code)

	door := d.k.doorFor()
	slots := map[int]bool{}
	for i := range 4000 {
		slots[door.slot(fmt.Sprintf("192.0.%d.%d:5", i/250, i%250))] = true
	}
	require.Greater(t, len(slots), doorSlots*9/10, "few share a slot")
	require.Equal(t, door.slot("[2001:db8::1]:5"), door.slot("[2001:db8::ffff:2]:6"), "a machine has all of its network's addresses")
	require.NotEqual(t, -1, door.slot("odd"))
}

// Fifty phones press at once, each reply for itself: one entry and one notice.
func TestFiftyAtOnce(t *testing.T) {
	for _, reply := range []notify.Reply{notify.ReplyDone, notify.ReplyHour, notify.ReplySkip, notify.ReplySeen} {
		for name, channel := range map[string]func(int) string{"One": func(int) string { return "phone" }, "Each": func(i int) string { return fmt.Sprintf("phone-%d", i) }} {
			if name == "Each" && reply != notify.ReplyDone {
				continue // putting off may be said by each
			}
			t.Run(string(reply)+" "+name, func(t *testing.T) {
				d := newDoorstep(t)
				codes := make(chan int, 50)
				var presses []func()
				for i := range 50 {
					path := "/a/" + d.token(reply, channel(i))
					form := formOf(t, d.get(path).Body.String())
					presses = append(presses, func() { codes <- d.post(path, form).Code })
				}
				var all sync.WaitGroup
				for _, press := range presses {
					all.Go(press)
				}
				all.Wait()
				close(codes)
				saved := 0
				for code := range codes {
					require.Contains(t, []int{http.StatusSeeOther, http.StatusGone}, code)
					if code == http.StatusSeeOther {
						saved++
					}
				}
				require.Equal(t, map[string]int{"One": 50, "Each": 1}[name], saved)
				notices, entries := answers(t, d.k)
				require.Len(t, notices, 1)
				if reply.Records() {
					require.Len(t, entries, 1)
				}
				requireWhole(t, d.k.book)
			})
		}
	}
}

func init() { roles["answer"] = answerRole }

// answerRole answers the first reminder of the drain through its link, and says so.
func answerRole(data string) error {
	k, err := open(quickSettings(data))
	if err != nil {
		return err
	}
	if _, err = k.pageHandler(); err != nil {
		return err
	}
	token := notify.Token{Key: notify.Key{Action: drainID, Stage: notify.Opened, Channel: "phone"}, Reply: notify.ReplyDone, Expires: time.Now().Add(time.Hour)}
	said, err := k.Answer(context.Background(), k.signer.Sign(token), Fields{})
	fmt.Println(said)
	return err
}

// Killed at each write and each sync, from before the key is made until after the commit,
// and told again: one entry and its notice, together.
func TestKilledBetweenCommitAndAnswer(t *testing.T) {
	t.Parallel()
	strace := needs(t, "strace")
	early, late := 0, 0
	for _, call := range []string{"pwrite64", "fdatasync", "rename,renameat,renameat2"} {
		for n := 1; ; n++ {
			require.Less(t, n, 100)
			data := t.TempDir()
			stopped(t, data)
			cmd := as(t, "answer", data, strace, "-f", "-qq", "-o", os.DevNull, "-e", "trace="+call, "-e", fmt.Sprintf("inject=%s:signal=KILL:when=%d", call, n))
			out, err := cmd.CombinedOutput()
			if strings.Contains(string(out), "ptrace") {
				t.Skip("skipped: strace may not trace here")
			}
			b := openBook(t, BookPath(data))
			if _, found, err := b.journal.Lookup(firstID()); err == nil && found {
				late++
			} else {
				early++
			}
			require.NoError(t, b.Close())

			again, failed := as(t, "answer", data).Output()
			require.NoError(t, failed, string(again))
			require.Regexp(t, `^Saved \d\d:\d\d: north drained into jar-1`, string(again))
			k, failed := open(quickSettings(data))
			require.NoError(t, failed)
			notices, entries := answers(t, k)
			require.Len(t, entries, 1)
			require.Len(t, notices, 1, "after a kill at %s %d", call, n)
			requireWhole(t, k.book)
			require.NoError(t, k.book.Close())
			if err == nil {
				break
			}
		}
	}
	require.Positive(t, early)
	require.Positive(t, late, "some kills came after the commit")
}

func firstID() string {
	return notify.Token{Key: notify.Key{Action: drainID, Stage: notify.Opened, Channel: "phone"}, Reply: notify.ReplyDone}.EntryID(0)
}

// A commit of which nobody knows whether it came about: sent again it is there once.
func TestTheSameLinkAfterAKillOfTheDaemon(t *testing.T) {
	d := newDoorstep(t)
	path := "/a/" + d.token(notify.ReplyHour, "phone")
	form := formOf(t, d.get(path).Body.String())
	require.Equal(t, http.StatusSeeOther, d.post(path, form).Code)
	data := copyOf(t, d.k.settings.Data) // as if the answer had never come
	key, err := os.ReadFile(filepath.Join(d.k.settings.Data, linkKeyFile))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(data, linkKeyFile), key, 0o600))
	s := d.k.settings
	s.Data = data
	k, err := open(s)
	require.NoError(t, err)
	defer func() { require.NoError(t, k.book.Close()) }()
	*d.now = d.now.Add(5 * time.Minute)
	other := &doorstep{t, k, d.now, page0(t, k), d.log}
	w := other.post(path, form)
	require.Equal(t, http.StatusSeeOther, w.Code)
	require.Contains(t, other.get("/a/"+w.Header().Get("Location")).Body.String(), "Already saved")
	notices, entries := answers(t, k)
	require.Len(t, notices, 1)
	require.Len(t, entries, 1)
}

func TestTheKeyOfTheLinks(t *testing.T) {
	data := t.TempDir()
	first, err := signerIn(data)
	require.NoError(t, err)
	again, err := signerIn(data)
	require.NoError(t, err)
	require.Equal(t, first.Name(), again.Name(), "it is made once")
	path := filepath.Join(data, linkKeyFile)
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	require.Equal(t, int64(notify.KeySize), info.Size())
	left, err := os.ReadDir(data)
	require.NoError(t, err)
	require.Len(t, left, 1, "nothing is left lying about")
	other, err := signerIn(t.TempDir())
	require.NoError(t, err)
	require.NotEqual(t, first.Name(), other.Name())

	require.NoError(t, os.WriteFile(path, []byte("short"), 0o600))
	_, err = signerIn(data)
	require.ErrorContains(t, err, "remove it")
	_, err = signerIn(filepath.Join(data, "none"))
	require.ErrorContains(t, err, "the key of the links")
}

func TestWhereLinksLead(t *testing.T) {
	for _, c := range []struct{ base, addr, want string }{
		{"http://pump.example", "127.0.0.1:8417", "http://pump.example"}, {"", "127.0.0.1:8417", "http://127.0.0.1:8417"},
		{"", "192.0.2.7:80", "http://192.0.2.7:80"}, {"", "[::1]:8417", "http://[::1]:8417"}, {"", "0.0.0.0:8417", ""}, {"", "[::]:8417", ""},
	} {
		conf := config.Default()
		conf.BaseURL = c.base
		k, _ := newTestKeeper(t, conf)
		page0(t, k)
		k.carryLinks(c.addr)
		require.Equal(t, c.want, k.voice.BaseURL)
	}
}

// From the reminder to the book and back: an hour later it comes again, and once it is done
// no more; who has seen it is not asked again.
func TestAnsweredReminders(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := config.Default()
		c.Timezone = time.UTC
		c.Again = []config.Again{{Do: maintenance.DoDrain, Every: 10 * time.Minute}}
		phone := &hand{}
		b := startBeating(t, c, t.TempDir(), phone)
		defer func() { b.stop() }()
		b.begin(t)
		last := func() notify.Message { all := phone.taken(); return all[len(all)-1] }
		answer := func(reply notify.Reply, f Fields) string {
			t.Helper()
			for _, l := range last().Links {
				if l.Reply == reply {
					said, err := b.k.Answer(context.Background(), l.URL[strings.LastIndex(l.URL, "/")+1:], f)
					require.NoError(t, err)
					synctest.Wait()
					return said
				}
			}
			require.FailNow(t, "no such link", "%s in %v", reply, last())
			return ""
		}
		require.Equal(t, drainID, last().Key.Action)
		require.Contains(t, answer(notify.ReplySeen, Fields{}), "Seen")
		n := len(phone.taken())
		time.Sleep(35 * time.Minute)
		synctest.Wait()
		require.Len(t, phone.taken(), n, "not again, until the next stage")

		require.Contains(t, answer(notify.ReplyHour, Fields{}), "Asked to wait")
		time.Sleep(59 * time.Minute)
		synctest.Wait()
		require.Len(t, phone.taken(), n)
		time.Sleep(2 * time.Minute)
		synctest.Wait()
		require.Len(t, phone.taken(), n+1)

		require.Contains(t, answer(notify.ReplyDone, Fields{Grams: new(590.0)}), "590")
		require.Equal(t, notify.Done, last().Key.Stage)
		require.Empty(t, last().Links)
		time.Sleep(90 * time.Minute)
		synctest.Wait()
		require.Len(t, phone.taken(), n+2)

		v, err := within(b.k).Notices(context.Background(), 1000)
		require.NoError(t, err)
		text, err := json.Marshal(v)
		require.NoError(t, err)
		require.Contains(t, string(text), `"outcome":"answered","by":"`+phone.Name()+`","reply":"done","entry":"link-`)
	})
}

// A real daemon, a real reminder, a real browser's steps; the other end repeats what it is
// sent, and nothing of it that could answer stands in the log, the notices or the book.
func TestAReminderIsAnsweredWhereItArrives(t *testing.T) {
	var got receiver
	hook := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		got.ServeHTTP(w, r)
		got.mu.Lock()
		defer got.mu.Unlock()
		w.WriteHeader(http.StatusInternalServerError)
		links := regexp.MustCompile(`/a/[^"]*`).FindAllString(got.bodies[len(got.bodies)-1], -1)
		fmt.Fprint(w, strings.Join(links, " "))
	}))
	defer hook.Close()
	s := quickSettings(t.TempDir())
	var log safeBuffer
	s.Log = slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	s.Config.Channels = []config.Channel{{Name: "phone", Type: "webhook", URL: hook.URL}}
	stopped(t, s.Data)
	addr := serving(t, s)
	require.Eventually(t, func() bool { return got.has(`"action":{"id":"` + drainID) }, 20*time.Second, 20*time.Millisecond)
	got.mu.Lock()
	var m struct {
		Links map[string]string `json:"links"`
	}
	require.NoError(t, json.Unmarshal([]byte(got.bodies[0]), &m))
	got.mu.Unlock()
	require.True(t, strings.HasPrefix(m.Links["done"], "http://"+addr+"/a/"), m.Links["done"])

	read := func(answer *http.Response, err error) string {
		require.NoError(t, err)
		defer answer.Body.Close()
		require.Equal(t, 200, answer.StatusCode)
		page, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		return string(page)
	}
	form := formOf(t, read(http.Get(m.Links["done"])))
	require.Contains(t, read(http.PostForm(m.Links["done"], form)), "Saved ", "the browser is led to what was saved")
	require.Contains(t, read(http.PostForm(m.Links["done"], form)), "Already saved ")

	c, err := Connect(t.Context(), s)
	require.NoError(t, err)
	var seen bytes.Buffer
	v, err := c.Notices(t.Context(), 1000)
	require.NoError(t, err)
	notices, err := json.Marshal(v)
	require.NoError(t, err)
	require.Contains(t, string(notices), "500 Internal Server Error")
	seen.Write(notices)
	require.NoError(t, c.Export(t.Context(), &seen))
	book, err := os.ReadFile(BookPath(s.Data))
	require.NoError(t, err)
	seen.Write(book)
	seen.WriteString(log.String())
	signer, err := signerIn(s.Data)
	require.NoError(t, err)
	for _, word := range regexp.MustCompile(`[A-Za-z0-9_-]{40,}`).FindAllString(seen.String(), -1) {
		_, err := signer.Open(word)
		require.ErrorIs(t, err, notify.ErrForged, "a token that answers: %s", word)
	}
	key, err := os.ReadFile(filepath.Join(s.Data, linkKeyFile))
	require.NoError(t, err)
	require.NotContains(t, seen.String(), string(key))
}
