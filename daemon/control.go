package daemon

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"path/filepath"

	"github.com/go-json-experiment/json"

	"sumpbook/daemon/journal"
	"sumpbook/notify"
)

// control registers what only a command of this machine may ask: it is reached over the
// socket beside the data, never over the network.
func (k *Keeper) control(mux *http.ServeMux) {
	mux.HandleFunc("POST /control/undo", limited(maxControl, answer(k.postUndo)))
	mux.HandleFunc("POST /control/notify-test", limited(maxControl, answer(k.postNotifyTest)))
	mux.HandleFunc("POST /control/backup", limited(maxControl, answer(k.postBackup)))
	mux.HandleFunc("POST /control/calendar", limited(maxControl, answer(k.postCalendar)))
	mux.HandleFunc("GET /control/verify", answer(k.getVerify))
	mux.HandleFunc("GET /control/doctor", answer(func(r *http.Request) (any, error) { return k.Doctor(r.Context()), nil }))
}

const maxControl = 64 << 10

func readControl(r *http.Request, into any) error {
	b, err := body(r)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(b, into, json.RejectUnknownMembers(true)); err != nil {
		return problem(http.StatusBadRequest, err.Error(), "")
	}
	return nil
}

type undoRequest struct {
	ID  string `json:"id"`
	By  string `json:"by"`
	Dry bool   `json:"dry"`
}

func (k *Keeper) postUndo(r *http.Request) (any, error) {
	var ask undoRequest
	if err := readControl(r, &ask); err != nil {
		return nil, err
	}
	plan, err := k.Undo(r.Context(), ask.ID, ask.By, ask.Dry)
	if err == nil && !ask.Dry {
		k.log.Info("undone", "entry", ask.ID, "with", len(plan.Voids)-1)
	}
	return plan, err
}

// A NoticesView is a page of notices, oldest first, with each told as a sentence.
type NoticesView struct {
	Notices []notify.Notice `json:"notices"`
	Says    []string        `json:"says"`
}

func (k *Keeper) getNotices(r *http.Request) (any, error) {
	after, err := numberParam(r, "after", 0, 1<<62)
	if err != nil {
		return nil, err
	}
	limit, err := numberParam(r, "limit", usualList, maxListed)
	if err != nil {
		return nil, err
	}
	v := NoticesView{Notices: []notify.Notice{}, Says: []string{}}
	now := k.clock()
	add := func(n notify.Notice) {
		v.Notices, v.Says = append(v.Notices, n), append(v.Says, k.voice.Tell(n, now))
	}
	if r.URL.Query().Get("after") == "" { // the newest
		newest, err := k.book.journal.LastNotices(int(limit))
		for _, n := range newest {
			add(n)
		}
		return v, err
	}
	err = k.book.journal.Notices(after, func(n notify.Notice) error {
		if len(v.Notices) == int(limit) {
			return journal.ErrStop
		}
		add(n)
		return nil
	})
	return v, err
}

type testRequest struct {
	Channel string `json:"channel"` // empty: every one
}

// A TestResult is what one channel made of a test reminder.
type TestResult struct {
	Channel string `json:"channel"`
	OK      bool   `json:"ok"`
	Said    string `json:"said"` // the other end's words
	Millis  int64  `json:"millis"`
}

func (k *Keeper) postNotifyTest(r *http.Request) (any, error) {
	var ask testRequest
	if err := readControl(r, &ask); err != nil {
		return nil, err
	}
	return k.NotifyTest(r.Context(), ask.Channel)
}

// NotifyTest sends a test reminder by the way of real ones, past quiet hours, and says what
// the other end said.
func (k *Keeper) NotifyTest(ctx context.Context, channel string) ([]TestResult, error) {
	results := []TestResult{}
	for _, ch := range k.channels {
		if channel != "" && ch.Name() != channel {
			continue
		}
		r := notify.TestReminder(ch.Name(), k.clock())
		began := k.clock()
		n, err := k.carrier.Deliver(ctx, ch, r)
		if err != nil {
			return results, err
		}
		results = append(results, TestResult{ch.Name(), n.Outcome == notify.Delivered, n.Detail, k.clock().Sub(began).Milliseconds()})
	}
	if len(results) == 0 {
		says := "there is no channel to test"
		if channel != "" {
			says = fmt.Sprintf("there is no channel named %q", channel)
		}
		return nil, problem(http.StatusNotFound, says, "add one to channels in the configuration")
	}
	return results, nil
}

type backupRequest struct {
	Path string `json:"path"`
}

// A BackupView says what a backup holds.
type BackupView struct {
	Path    string `json:"path"`
	Entries uint64 `json:"entries"`
	Head    string `json:"head"`
}

func (k *Keeper) postBackup(r *http.Request) (any, error) {
	var ask backupRequest
	if err := readControl(r, &ask); err != nil {
		return nil, err
	}
	if !filepath.IsAbs(ask.Path) {
		return nil, problem(http.StatusBadRequest, "the path of a backup is absolute", "")
	}
	err := k.book.journal.Backup(r.Context(), ask.Path)
	if errors.Is(err, fs.ErrExist) || errors.Is(err, fs.ErrNotExist) {
		return nil, problem(http.StatusConflict, err.Error(), "name a file that does not exist, in a folder that does")
	}
	if err != nil {
		return nil, err
	}
	copied, err := journal.OpenReadOnly(ask.Path)
	if err != nil {
		return nil, err
	}
	seq, head := copied.Head()
	k.markBackup()
	k.log.Info("backup", "entries", seq)
	return BackupView{ask.Path, seq, head}, copied.Close()
}

// A VerifyView is the verdict on a whole book.
type VerifyView struct {
	OK      bool   `json:"ok"`
	Entries uint64 `json:"entries"`
	Head    string `json:"head"`
	Voids   uint64 `json:"voids"`
	Notices uint64 `json:"notices"`
	Bad     string `json:"bad,omitzero"`     // what is wrong
	BadSeq  uint64 `json:"bad_seq,omitzero"` // the first bad entry
}

func (k *Keeper) getVerify(r *http.Request) (any, error) { return k.Verify(r.Context()) }

// Verify reads the whole journal, folds it anew and compares with the state that is served.
func (k *Keeper) Verify(ctx context.Context) (VerifyView, error) {
	report, err := k.book.journal.Verify(ctx, nil)
	v := VerifyView{OK: true, Entries: report.Seq, Head: report.Hash, Voids: report.Voids, Notices: report.Notices}
	if err == nil {
		err = k.book.checkFold()
	}
	if err == nil || ctx.Err() != nil {
		return v, ctx.Err()
	}
	v.OK, v.Bad = false, err.Error()
	if d := (*journal.Damage)(nil); errors.As(err, &d) {
		v.BadSeq = d.Seq
	}
	return v, nil
}
