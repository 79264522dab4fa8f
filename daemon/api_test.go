package daemon

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/maintenance"
)

// newTestKeeper is a keeper on an empty book, whose clock stands where the test puts it.
func newTestKeeper(t testing.TB, c config.Config) (*Keeper, *time.Time) {
	t.Helper()
	now := day0.Add(time.Hour)
	k, err := open(Settings{Data: t.TempDir(), Config: c, Clock: func() time.Time { return now }})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, k.book.Close()) })
	return k, &now
}

func page0(t testing.TB, k *Keeper) http.Handler {
	t.Helper()
	h, err := k.pageHandler()
	require.NoError(t, err)
	return h
}

func send(h http.Handler, method, target, body string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, target, strings.NewReader(body))
	r.Host, r.RemoteAddr = "127.0.0.1:8417", "127.0.0.1:40000"
	for i := 0; i+1 < len(headers); i += 2 {
		if headers[i] == "Host" {
			r.Host = headers[i+1]
			continue
		}
		if headers[i] == "From" {
			r.RemoteAddr = headers[i+1]
			continue
		}
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func asProblem(t *testing.T, w *httptest.ResponseRecorder, status int) Problem {
	t.Helper()
	require.Equal(t, status, w.Code, w.Body.String())
	require.Equal(t, "application/problem+json", w.Header().Get("Content-Type"))
	var p Problem
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &p))
	require.Equal(t, status, p.Status)
	require.NotEmpty(t, p.Title)
	return p
}

func TestEntriesOverHTTP(t *testing.T) {
	k, _ := newTestKeeper(t, config.Default())
	h := page0(t, k)
	whole, err := json.Marshal(opening(t))
	require.NoError(t, err)

	t.Run("TakenWhole", func(t *testing.T) {
		w := send(h, "POST", "/api/v1/entries", string(whole))
		require.Equal(t, http.StatusOK, w.Code, w.Body.String())
		var r Receipt
		require.NoError(t, json.Unmarshal(w.Body.Bytes(), &r))
		require.Equal(t, 5, r.Accepted)
	})
	t.Run("TakenOnce", func(t *testing.T) {
		w := send(h, "POST", "/api/v1/entries", string(whole))
		require.Contains(t, w.Body.String(), `"duplicates":5`)
	})
	t.Run("JudgedDry", func(t *testing.T) {
		w := send(h, "POST", "/api/v1/entries?dry=1", `{"kind":"drain","pump":"north","to":"jar-1"}`)
		require.Equal(t, http.StatusOK, w.Code)
		require.False(t, k.book.now.Load().state.Pumps["north"].Open)
	})
	t.Run("ReadAsStored", func(t *testing.T) {
		w := send(h, "GET", "/api/v1/entries?after=1&limit=2", "")
		require.True(t, strings.HasPrefix(w.Body.String(), `[{"seq":2,`), w.Body.String())
		require.Equal(t, 2, strings.Count(w.Body.String(), `"hash":`))
	})
	t.Run("State", func(t *testing.T) {
		w := send(h, "GET", "/api/v1/state?at="+day0.Add(2*time.Minute).Format(time.RFC3339), "")
		var v maintenance.StateView
		require.NoError(t, json.Unmarshal(w.Body.Bytes(), &v))
		require.Len(t, v.Vessels, 2)
	})
	for _, c := range []struct {
		name, method, target, body string
		status                     int
		says                       string
	}{
		{"LineAndField", "POST", "/api/v1/entries", `[{"kind":"note","note":"x"},{"kind":"drain","pump":"north","to":"jar-1","gramms":5}]`, 422, "no such field"},
		{"NotJSON", "POST", "/api/v1/entries", `[{`, 400, "JSON"},
		{"Empty", "POST", "/api/v1/entries", `[]`, 400, "empty"},
		{"NoBody", "POST", "/api/v1/entries", ``, 422, "JSON"},
		{"Trailing", "POST", "/api/v1/entries", `[{"kind":"note","note":"x"}] 1`, 400, "after the array"},
		{"BadTime", "GET", "/api/v1/state?at=yesterday", "", 400, "at"},
		{"BadLimit", "GET", "/api/v1/entries?limit=-1", "", 400, "limit"},
		{"NoPump", "GET", "/api/v1/audit/west", "", 404, "west"},
		{"NoSamplesFor", "POST", "/api/v1/signals/west", `{"power_w":1}`, 404, "west"},
		{"NoReading", "POST", "/api/v1/signals/north", `{"at":"2026-03-01T07:00:00Z"}`, 400, "none of"},
		{"UnknownMember", "POST", "/api/v1/signals/north", `{"watts":1}`, 400, "watts"},
		{"Infinite", "POST", "/api/v1/signals/north", `{"power_w":1e999}`, 400, ""},
		{"Impossible", "POST", "/api/v1/signals/north", `{"power_w":60000}`, 400, "sample 1"},
		{"TooLarge", "POST", "/api/v1/entries", `{"kind":"note","note":"` + strings.Repeat("x", maxBody) + `"}`, 413, "at most"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := asProblem(t, send(h, c.method, c.target, c.body), c.status)
			require.Contains(t, p.Detail, c.says)
		})
	}
	t.Run("LineIsNamed", func(t *testing.T) {
		p := asProblem(t, send(h, "POST", "/api/v1/entries", `[{"kind":"note","note":"x"},{"kind":"drain","pump":"north","to":"jar-1","gramms":5}]`), 422)
		require.Equal(t, 2, p.Line)
		require.Equal(t, "gramms", p.Field)
		require.Contains(t, p.Hint, "grams")
		seq, _ := k.book.Head()
		require.Equal(t, uint64(5), seq)
	})
}

func TestTheGuardLetsInOnlyOurOwn(t *testing.T) {
	c := config.Default()
	c.BaseURL = "http://pump.example:8417"
	k, _ := newTestKeeper(t, c)
	h := newGuard(c, "secret-token", k.doorFor(), k.socketHandler())
	note := `{"kind":"note","note":"x"}`
	for _, one := range []struct {
		name    string
		method  string
		headers []string
		status  int
	}{
		{"Loopback", "GET", nil, 200},
		{"Localhost", "GET", []string{"Host", "LOCALHOST:8417"}, 200},
		{"V6", "GET", []string{"Host", "[::1]:8417", "From", "[::1]:4"}, 200},
		{"BaseURL", "GET", []string{"Host", "pump.example"}, 200},
		{"ReboundName", "GET", []string{"Host", "evil.example"}, 403},
		{"NoName", "GET", []string{"Host", ""}, 403},
		{"ForeignOriginReading", "GET", []string{"Origin", "http://evil.example"}, 403},
		{"NullOrigin", "GET", []string{"Origin", "null"}, 403},
		{"OwnOriginWriting", "POST", []string{"Origin", "http://127.0.0.1:8417"}, 200},
		{"ForeignOriginWriting", "POST", []string{"Origin", "http://evil.example"}, 403},
		{"OtherPortWriting", "POST", []string{"Origin", "http://127.0.0.1:1"}, 403},
		{"CrossSiteWriting", "POST", []string{"Sec-Fetch-Site", "cross-site"}, 403},
		{"FromBeyond", "GET", []string{"From", "192.0.2.9:5"}, 401},
		{"FromBeyondWrongToken", "GET", []string{"From", "192.0.2.9:5", "Authorization", "Bearer other"}, 401},
		{"FromBeyondToken", "GET", []string{"From", "192.0.2.9:5", "Authorization", "Bearer secret-token"}, 200},
	} {
		t.Run(one.name, func(t *testing.T) {
			target, body := "/api/v1/state", ""
			if one.method == "POST" {
				target, body = "/api/v1/entries", note
			}
			w := send(h, one.method, target, body, one.headers...)
			require.Equal(t, one.status, w.Code, w.Body.String())
		})
	}
	noToken := newGuard(c, "", k.doorFor(), k.socketHandler())
	require.Equal(t, 401, send(noToken, "GET", "/api/v1/state", "", "From", "192.0.2.9:5", "Authorization", "Bearer ").Code)
}

// Control is for commands of this machine: the network does not reach it.
func TestControlIsNotOnTheNetwork(t *testing.T) {
	k, _ := newTestKeeper(t, config.Default())
	h := page0(t, k)
	for _, path := range []string{"/control/undo", "/control/backup", "/control/notify-test"} {
		require.Equal(t, 404, send(h, "POST", path, "{}").Code, path)
	}
	require.Equal(t, 404, send(h, "GET", "/control/verify", "").Code)
}

func TestASignalStartsAndStopsThePump(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	h := page0(t, k)
	_, err := k.book.Record(context.Background(), *now, opening(t))
	require.NoError(t, err)
	push := func(at time.Time, watts float64) {
		t.Helper()
		*now = at
		w := send(h, "POST", "/api/v1/signals/north", fmt.Sprintf(`{"at":%q,"power_w":%v}`, at.Format(time.RFC3339), watts))
		require.Equal(t, 200, w.Code, w.Body.String())
	}
	begin := now.Add(time.Minute)
	for m := range 240 {
		push(begin.Add(time.Duration(m)*time.Minute), 400)
	}
	run := k.book.now.Load().state.Pumps["north"].Run
	require.NotNil(t, run)
	require.True(t, run.Since.Equal(begin))
	require.Equal(t, "north/start/"+begin.Format(time.RFC3339), run.Cycle)

	low := begin.Add(240 * time.Minute)
	push(low, 2)
	push(low.Add(time.Minute), 2)
	t.Run("ADrainBeforeTheDwellBooksTheStop", func(t *testing.T) {
		*now = low.Add(90 * time.Second)
		w := send(h, "POST", "/api/v1/entries", `{"id":"d","kind":"drain","pump":"north","to":"jar-1"}`)
		require.Equal(t, 200, w.Code, w.Body.String())
		p := k.book.now.Load().state.Pumps["north"]
		require.Nil(t, p.Run)
		require.True(t, p.Open)
		require.True(t, p.Last.At.Equal(low))
		seq, _ := k.book.Head()
		for m := 2; m < 8; m++ {
			push(low.Add(time.Duration(m)*time.Minute), 2)
		}
		after, _ := k.book.Head()
		require.Equal(t, seq, after, "the signal's own stop adds nothing")
	})
}

// A kill in mid-dwell or mid-run changes nothing: the detector goes on from what is stored.
func TestTheDetectorSurvivesAKill(t *testing.T) {
	data := t.TempDir()
	now := day0.Add(time.Hour)
	reopen := func() *Keeper {
		k, err := open(Settings{Data: data, Config: config.Default(), Clock: func() time.Time { return now }})
		require.NoError(t, err)
		return k
	}
	k := reopen()
	_, err := k.book.Record(context.Background(), now, opening(t))
	require.NoError(t, err)
	begin := now.Add(time.Minute)
	watts := func(s int) float64 {
		if s < 3600 {
			return 400
		}
		return 3
	}
	for s := 0; s < 4200; s += 20 {
		if s%300 == 40 || s == 3660 { // in the start dwell, in the run, in the end dwell
			require.NoError(t, k.book.Close())
			k = reopen()
		}
		now = begin.Add(time.Duration(s) * time.Second)
		w := send(page0(t, k), "POST", "/api/v1/signals/north", fmt.Sprintf(`{"power_w":%v}`, watts(s)))
		require.Equal(t, 200, w.Code, w.Body.String())
	}
	p := k.book.now.Load().state.Pumps["north"]
	require.Len(t, p.History, 1)
	require.True(t, p.History[0].Start.Equal(begin))
	require.Equal(t, time.Hour, p.History[0].Length)
	require.NoError(t, k.book.Close())
}

func TestAnExportIsTheSameBook(t *testing.T) {
	ctx := context.Background()
	k, now := newTestKeeper(t, config.Default())
	_, err := k.book.Record(ctx, *now, opening(t))
	require.NoError(t, err)
	_, err = k.book.Record(ctx, *now, []maintenance.Entry{entry(t, *now, `{"id":"v","kind":"void","entry":"f"}`)})
	require.NoError(t, err)
	var out bytes.Buffer
	c := within(k)
	require.NoError(t, c.Export(ctx, &out))

	copied, _ := newTestKeeper(t, config.Default())
	var entries []maintenance.Entry
	for line := range strings.Lines(out.String()) {
		e, err := maintenance.Decode([]byte(strings.TrimSpace(line)))
		require.NoError(t, err)
		entries = append(entries, e)
	}
	_, err = copied.book.Record(ctx, now.Add(time.Hour), entries)
	require.NoError(t, err)
	seq1, head1 := k.book.Head()
	seq2, head2 := copied.book.Head()
	require.Equal(t, seq1, seq2)
	require.Equal(t, head1, head2)
	require.Equal(t, fingerprint(t, k.book.now.Load().state), fingerprint(t, copied.book.now.Load().state))

	t.Run("AChangedLineIsFound", func(t *testing.T) {
		other, _ := newTestKeeper(t, config.Default())
		spoiled := append([]maintenance.Entry(nil), entries...)
		spoiled[2].Note = "changed"
		_, err := other.book.Record(ctx, now.Add(time.Hour), spoiled)
		require.Equal(t, 3, rejection(t, err).Line)
	})
	t.Run("IntoABookThatIsNotEmpty", func(t *testing.T) {
		other, _ := newTestKeeper(t, config.Default())
		_, err := other.book.Record(ctx, *now, []maintenance.Entry{entry(t, *now, `{"id":"n","kind":"note","note":"x"}`)})
		require.NoError(t, err)
		r, err := other.book.Record(ctx, now.Add(time.Hour), entries)
		require.NoError(t, err)
		require.Equal(t, len(entries), r.Accepted)
		require.Equal(t, uint64(2), r.Entries[0].Seq)
	})
}

func TestUndoTakesWhatRestsOnIt(t *testing.T) {
	ctx := context.Background()
	k, now := newTestKeeper(t, config.Default())
	_, err := k.book.Record(ctx, *now, opening(t))
	require.NoError(t, err)
	dry, err := k.Undo(ctx, "l", "ana", true)
	require.NoError(t, err)
	require.Equal(t, []string{"f", "l"}, []string{dry.Voids[0].ID, dry.Voids[1].ID})
	seq, _ := k.book.Head()
	require.Equal(t, uint64(5), seq)
	_, err = k.Undo(ctx, "l", "ana", false)
	require.NoError(t, err)
	require.Empty(t, k.book.now.Load().state.Lots)
	_, err = k.Undo(ctx, "l", "ana", false)
	require.Contains(t, rejection(t, err).Says, "already")
	_, err = k.Undo(ctx, "nothing", "ana", false)
	require.Contains(t, rejection(t, err).Says, "no entry")
}

func TestBackupAndRestore(t *testing.T) {
	ctx := context.Background()
	k, now := newTestKeeper(t, config.Default())
	_, err := k.book.Record(ctx, *now, opening(t))
	require.NoError(t, err)
	c := within(k)
	path := filepath.Join(t.TempDir(), "copy.db")
	v, err := c.Backup(ctx, path)
	require.NoError(t, err)
	require.Equal(t, uint64(5), v.Entries)
	_, err = c.Backup(ctx, path)
	require.ErrorContains(t, err, "exist")
	data := t.TempDir()
	r, err := Restore(ctx, path, data)
	require.NoError(t, err)
	require.Equal(t, v.Head, r.Head)
	b := openBook(t, BookPath(data))
	require.Equal(t, fingerprint(t, k.book.now.Load().state), fingerprint(t, b.now.Load().state))
	require.NoError(t, b.Close())
	findings, err := c.Doctor(ctx)
	require.NoError(t, err)
	require.Equal(t, "ok", findings[1].State)
	require.Equal(t, "ok", findings[3].State, "the backup is on record")
	_, err = os.Stat(filepath.Join(k.settings.Data, backupMark))
	require.NoError(t, err)
}

// Whatever moment is asked for, there is an answer.
func TestMomentsFarAway(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	_, err := k.book.Record(context.Background(), *now, opening(t))
	require.NoError(t, err)
	h := page0(t, k)
	for _, path := range []string{"state", "actions", "audit/north", "why-not/drain", "why-not/replace", "why?action=fill/north/p"} {
		for _, name := range []string{"at", "known_by"} {
			for _, moment := range []string{"0001-01-01T00:00:00Z", "1970-01-01T00:00:00Z", "9999-12-31T23:59:59.999999999Z", "0000-01-01T00:00:00Z"} {
				join := "?"
				if strings.Contains(path, "?") {
					join = "&"
				}
				w := send(h, "GET", "/api/v1/"+path+join+name+"="+moment, "")
				require.Less(t, w.Code, 500, "%s %s=%s: %s", path, name, moment, w.Body.String())
			}
		}
	}
}
