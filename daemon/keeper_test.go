package daemon

import (
	"context"
	"errors"
	"fmt"
	"html"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/eclipse/paho.golang/paho"
	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/daemon/journal"
	"sumpbook/maintenance"
	"sumpbook/notify"
)

// within asks a keeper as a command without a daemon does.
func within(k *Keeper) *Client {
	return &Client{http: &http.Client{Transport: inProcess{k.socketHandler()}}, keeper: k}
}

func TestErrorsAsTheOtherSideIsTold(t *testing.T) {
	for name, c := range map[string]struct {
		err    error
		status int
		hint   string
	}{
		"Mistake":  {&maintenance.Rejection{Field: "to", Says: "no vessel", Hint: "name one"}, 422, "name one"},
		"Problem":  {problem(418, "a pot", "brew"), 418, "brew"},
		"Full":     {journal.ErrFull, 507, "room"},
		"Unknown":  {journal.ErrUnknown, 503, "same id"},
		"Halted":   {errHalted, 503, "nothing of this request was kept"},
		"ReadOnly": {errReadOnly, 503, "right to write"},
		"Damaged":  {&journal.Damage{Seq: 3, What: "it is cut"}, 500, "restore"},
		"Other":    {errors.New("odd"), 500, ""},
	} {
		t.Run(name, func(t *testing.T) {
			p := problemOf(fmt.Errorf("do it: %w", c.err))
			require.Equal(t, c.status, p.Status)
			require.Contains(t, p.Hint, c.hint)
			require.NotEmpty(t, p.Error())
			require.NotEmpty(t, p.Title)
		})
	}
	require.Equal(t, "I'm a teapot", problem(418, "", "").Error())
}

// The button of the page settles what is due: one entry, however often it is pressed.
func TestTheButtonOfThePage(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	h := page0(t, k)
	all := append(opening(t),
		entry(t, day0.Add(10*time.Minute), `{"id":"s1","kind":"start","pump":"north"}`),
		entry(t, day0.Add(24*time.Hour), `{"id":"s2","kind":"stop","pump":"north","hot_c":66}`))
	*now = day0.Add(24*time.Hour + 10*time.Minute)
	_, err := k.book.Record(context.Background(), *now, all)
	require.NoError(t, err)

	body := send(h, "GET", "/actions/drain/north/s1", "").Body.String()
	start := strings.Index(body, `<form method="post" action="/record" class="sheet">`)
	require.Positive(t, start, body)
	sheet := body[start : start+strings.Index(body[start:], "</form>")]
	form := url.Values{"to": {"jar-1"}, "unit": {"g"}} // its lists
	for _, m := range regexp.MustCompile(`<input[^>]* name="([^"]*)"[^>]* value="([^"]*)"`).FindAllStringSubmatch(sheet, -1) {
		form.Set(m[1], html.UnescapeString(m[2]))
	}
	require.Equal(t, "drain", form.Get("kind"), "%v", form)
	press := func() *httptest.ResponseRecorder {
		return send(h, "POST", "/record", form.Encode(), "Content-Type", "application/x-www-form-urlencoded", "Origin", "http://127.0.0.1:8417")
	}
	seq, _ := k.book.Head()
	w := press()
	require.Less(t, w.Code, 400, w.Body.String())
	require.True(t, k.book.now.Load().state.Pumps["north"].Open)
	w = press()
	require.Less(t, w.Code, 400, w.Body.String())
	after, _ := k.book.Head()
	require.Equal(t, seq+1, after)
	key, other := form.Get("key"), "A"
	if strings.HasSuffix(key, other) {
		other = "B"
	}
	form.Set("key", key[:len(key)-1]+other)
	require.Equal(t, http.StatusConflict, press().Code, "the pump is drained already")
	require.Contains(t, send(h, "GET", "/history", "").Body.String(), "drain")
}

func TestWhatCommandsAskBeside(t *testing.T) {
	ctx := context.Background()
	k, now := newTestKeeper(t, config.Default())
	c := within(k)
	_, err := c.Record(ctx, append(opening(t),
		entry(t, day0.Add(10*time.Minute), `{"id":"s1","kind":"start","pump":"north"}`),
		entry(t, day0.Add(40*time.Minute), `{"id":"s2","kind":"stop","pump":"north","hot_c":66}`)), false)
	require.NoError(t, err)
	w, err := c.Why(ctx, "drain/north/s1", Moment{At: *now, KnownBy: *now})
	require.NoError(t, err)
	require.NotEmpty(t, w.Steps)
	_, err = c.Why(ctx, "drain/south/s1", Moment{})
	require.ErrorContains(t, err, "drain/south/s1")
	not, err := c.WhyNot(ctx, "fill", Moment{})
	require.NoError(t, err)
	require.NotEmpty(t, not.Says)
	_, err = c.WhyNot(ctx, "polish", Moment{})
	require.ErrorContains(t, err, "no kind of action")
	plan, err := c.Undo(ctx, "s1", "ana", true)
	require.NoError(t, err)
	require.Len(t, plan.Voids, 2)
	_, err = c.Undo(ctx, "s1", strings.Repeat("x", 3000), false)
	require.Contains(t, rejection(t, err).Says, "2000", "whoever does it has a name of some length")
	_, err = c.Undo(ctx, "s1", "ana", false)
	require.NoError(t, err)
	_, err = c.Backup(ctx, filepath.Join(t.TempDir(), "none", "copy.db"))
	require.ErrorContains(t, err, "no such file")
	var p *Problem
	_, err = post[BackupView](ctx, c, "/control/backup", backupRequest{"copy.db"})
	require.ErrorAs(t, err, &p)
	require.Equal(t, 400, p.Status)
	_, err = post[BackupView](ctx, c, "/control/backup", map[string]int{"to": 1})
	require.ErrorContains(t, err, "to")
	v, err := c.Verify(ctx)
	require.NoError(t, err)
	require.True(t, v.OK)
	require.Equal(t, uint64(2), v.Voids)
}

func TestNoticesByNumber(t *testing.T) {
	ctx := context.Background()
	k, now := newTestKeeper(t, config.Default())
	for i := range 5 {
		n := notify.Notice{At: *now, Key: notify.Key{Action: fmt.Sprintf("fill/north/%d", i), Stage: notify.Opened, Channel: "phone"}, Outcome: notify.Delivered, Attempt: 1}
		require.NoError(t, k.book.AppendNotices(ctx, []notify.Notice{n}))
	}
	for query, want := range map[string][]uint64{"": {1, 2, 3, 4, 5}, "?limit=2": {4, 5}, "?after=0&limit=2": {1, 2}, "?after=3": {4, 5}, "?after=9": {}, "?limit=0": {}} {
		v, err := get[NoticesView](ctx, within(k), "/api/v1/notices", mustQuery(t, query))
		require.NoError(t, err)
		got := []uint64{}
		for _, n := range v.Notices {
			got = append(got, n.Seq)
		}
		require.Equal(t, want, got, query)
		require.Len(t, v.Says, len(got))
	}
	for _, bad := range []string{"?limit=x", "?after=-1", "?limit=10001"} {
		asProblem(t, send(k.socketHandler(), "GET", "/api/v1/notices"+bad, ""), 400)
	}
}

func mustQuery(t *testing.T, text string) url.Values {
	t.Helper()
	q, err := url.ParseQuery(strings.TrimPrefix(text, "?"))
	require.NoError(t, err)
	return q
}

// The rules and the policy are those of the configuration; a calendar task falls due by the
// clock on the wall, on both days on which it is turned.
func TestWhatTheConfigurationMeans(t *testing.T) {
	oslo, err := time.LoadLocation("Europe/Oslo")
	require.NoError(t, err)
	c := config.Default()
	c.Timezone, c.Digest = oslo, "0 7 * * *"
	c.Limits.AirH = new(3.5)
	c.Again = []config.Again{{Do: maintenance.DoDrain, Every: time.Hour}}
	c.Channels = []config.Channel{{Name: "phone", Type: "webhook"}, {Name: "mail", Type: "smtp"}}
	c.Care = []config.Care{{Task: "gasket", Cron: "30 2 * * *"}, {Task: "filter", Pump: "north", After: config.After{RunHours: 500}}}
	r := rulesOf(c)
	require.InDelta(t, 3.5, *r.Limits.AirH, 0)
	require.InDelta(t, *maintenance.DefaultLimits().DrainSlow, *r.Limits.DrainSlow, 0)
	require.InDelta(t, 500, r.Care[1].RunHours, 0)
	require.Nil(t, r.Care[1].Next)
	for after, want := range map[string]string{
		"2026-03-28T12:00:00+01:00": "2026-03-29T03:00:00+02:00", // 02:30 is left out
		"2026-10-24T12:00:00+02:00": "2026-10-25T02:30:00+02:00", // 02:30 comes twice
		"2026-10-25T02:30:00+02:00": "2026-10-26T02:30:00+01:00",
	} {
		at, err := time.Parse(time.RFC3339, after)
		require.NoError(t, err)
		require.Equal(t, want, r.Care[0].Next(at).Format(time.RFC3339))
	}
	p := policyOf(c)
	require.Equal(t, []string{"phone", "mail"}, p.Channels)
	require.Equal(t, []string{"mail"}, p.DigestTo)
	require.Equal(t, time.Hour, p.Repeat[maintenance.DoDrain])
	require.NotNil(t, p.Digest)
	require.Equal(t, oslo, p.Quiet.Zone)
}

// A page of the file that rots while it is open is found, named, and never answered with a
// guess; what is in memory is served.
func TestABookThatRots(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	ctx := context.Background()
	_, err := k.book.Record(ctx, *now, opening(t))
	require.NoError(t, err)
	b, err := os.ReadFile(BookPath(k.settings.Data))
	require.NoError(t, err)
	f, err := os.OpenFile(BookPath(k.settings.Data), os.O_WRONLY, 0)
	require.NoError(t, err)
	for at := 0; ; { // wherever the entry stands
		i := strings.Index(string(b[at:]), `"capacity_ml":1000`)
		if i < 0 {
			break
		}
		_, err = f.WriteAt([]byte(`"capacity_ml":2000`), int64(at+i))
		require.NoError(t, err)
		at += i + 1
	}
	require.NoError(t, f.Close())
	v, err := within(k).Verify(ctx)
	require.NoError(t, err)
	require.False(t, v.OK)
	require.Equal(t, uint64(2), v.BadSeq, v.Bad)
	require.Equal(t, "bad", k.lookAtBook(ctx).State)
	asProblem(t, send(page0(t, k), "GET", "/api/v1/entries", ""), 500)
	asProblem(t, send(page0(t, k), "POST", "/api/v1/entries", `{"kind":"note","note":"x"}`), 500)
	require.Equal(t, 200, send(page0(t, k), "GET", "/api/v1/state", "").Code)
}

// What comes by the broker: availability, readings, and what is none; a book that takes
// nothing is said once in a while.
func TestMessagesOfABroker(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	var log safeBuffer
	s := newSource(t, k, now)
	watts, celsius := "/w", "/c"
	src := config.Source{Pump: "north", Topic: "shed/north", Power: &watts, Temp: &celsius, Unit: "kW", Availability: config.Availability{Topic: "shed/north/there", On: "yes"}}
	l := newListener(src, time.UTC, s.Sensor, k.clock, textLog(&log))
	hear := l.received(context.Background())
	message := func(topic, payload string) {
		*now = now.Add(time.Minute)
		done, err := hear(paho.PublishReceived{Packet: &paho.Publish{Topic: topic, Payload: []byte(payload)}})
		require.NoError(t, err)
		require.True(t, done)
	}
	message("shed/north/there", "yes")
	require.True(t, l.online.Load())
	message("shed/north", `{"w":0.4,"c":"66.5"}`)
	d := s.Sensor.now()
	require.InDelta(t, 400, d.State.Held, 1e-9)
	require.InDelta(t, 66.5, d.TempC.Value, 1e-9)
	message("shed/north", `{"w":0.4,"c":"none"}`)
	require.Zero(t, l.refuse.Load(), "the temperature may be missing")
	message("shed/north", `{"c":66}`)
	require.Equal(t, int64(1), l.refuse.Load())
	message("shed/north/there", "no")
	require.False(t, l.online.Load())
	log.reset()
	require.NoError(t, k.book.Close())
	for range 40 {
		message("shed/north", `{"w":0.002}`)
	}
	require.LessOrEqual(t, strings.Count(log.String(), "reading not kept"), 6)
	require.Contains(t, log.String(), "reading not kept")
}
