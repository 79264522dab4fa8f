package daemon

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"sumpbook/daemon/web"
	"sumpbook/maintenance"
	"sumpbook/notify"
)

// linkKeyFile is the secret by which links in reminders are known again. It is not part of
// the book: a copy in another folder makes links of its own.
const linkKeyFile = "link-key"

// signerIn reads the secret of a data folder, making it once.
func signerIn(data string) (*notify.Signer, error) {
	path := filepath.Join(data, linkKeyFile)
	key, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		key = make([]byte, notify.KeySize)
		_, _ = rand.Read(key) // never fails
		err = writeWhole(path, key)
	}
	if err != nil {
		return nil, fmt.Errorf("the key of the links: %w", err)
	}
	signer, err := notify.NewSigner(key)
	if err != nil {
		return nil, fmt.Errorf("%w: %s; remove it and one is made", err, path)
	}
	return signer, nil
}

// carryLinks lets reminders carry links from now on, to the configured address or else to
// the one that is listened on, if that is one a browser can be sent to.
func (k *Keeper) carryLinks(addr string) {
	if k.voice.BaseURL == "" {
		if host, _, err := net.SplitHostPort(addr); err == nil && !net.ParseIP(host).IsUnspecified() {
			k.voice.BaseURL = "http://" + addr
		} else {
			k.log.Warn("reminders carry no links", "because", "base_url is not set")
		}
	}
	k.voice.Signer = k.signer
	k.carrier.Compose = k.voice.Compose
}

// mostUses bounds how often an undo gives a link back.
const mostUses = 100

// Open reads a token and looks up what it has recorded.
func (d desk) Open(_ context.Context, text string) (web.Link, error) {
	t, err := d.signer.Open(text)
	if err != nil {
		return web.Link{}, err
	}
	return d.linkOf(t)
}

// linkOf is a token and what has become of it.
func (k *Keeper) linkOf(t notify.Token) (l web.Link, err error) {
	l.Token, l.By = t, k.outbox.policy.Whose(t.Key.Channel)
	if !t.Reply.Records() {
		l.Heard, err = k.heard(t)
		return l, err
	}
	for again := range mostUses {
		l.ID = t.EntryID(again)
		e, found, err := k.book.journal.Lookup(l.ID)
		if err != nil || !found {
			return l, err
		}
		l.Saved = &e
		if _, l.Withdrawn = k.book.journal.VoidOf(e.Seq); !l.Withdrawn {
			break
		}
	}
	return l, nil
}

// heard says whether the newest notices hold a reply that records nothing.
func (k *Keeper) heard(t notify.Token) (bool, error) {
	notices, err := k.book.journal.LastNotices(noticesLooked)
	return slices.ContainsFunc(notices, func(n notify.Notice) bool { return n.Key == t.Key && n.Outcome == t.Reply.Outcome() }), err
}

// Answer records what a link stands for together with the notice that the reminder is
// answered: neither is there without the other. Links are answered one after another, so
// that two of one action are not both believed.
func (d desk) Answer(ctx context.Context, l web.Link, e maintenance.Entry) (remarks []string, duplicate bool, err error) {
	if _, undo := e.Act.(*maintenance.VoidAct); undo {
		return d.Record(ctx, e)
	}
	d.answering.Lock()
	defer d.answering.Unlock()
	if l, err = d.linkOf(l.Token); err != nil || l.Heard {
		return nil, l.Heard, err
	}
	now := d.clock()
	known := l.Saved != nil && l.Saved.ID == e.ID // the book says whether it is the same
	if !known && !d.asks(l.Key.Action, now) {
		return nil, false, web.ErrGone
	}
	receipt, err := d.outbox.answer(ctx, now, e, l.Token)
	if err != nil || e.Act == nil {
		return nil, false, err
	}
	d.logEntries(ctx, receipt)
	last := receipt.Entries[len(receipt.Entries)-1]
	return last.Remarks, last.Duplicate, nil
}

// asks says whether an action is asked for now.
func (k *Keeper) asks(action string, now time.Time) bool {
	return slices.ContainsFunc(maintenance.Next(k.book.now.Load().state, k.book.rules, now), func(a maintenance.Action) bool { return a.ID == action })
}

// Fields are what a reply may say beside its token.
type Fields struct {
	Grams *float64 // of what was moved; nil: as prefilled
}

// Answer records what a link's token stands for, and says in a sentence what was saved, the
// same when it is told again; or, with an error, why nothing was.
func (k *Keeper) Answer(ctx context.Context, token string, f Fields) (said string, err error) {
	typed := map[string]string{}
	if f.Grams != nil {
		typed["amount"], typed["unit"] = strconv.FormatFloat(*f.Grams, 'f', -1, 64), "g"
	}
	return k.pages.Answer(ctx, token, typed)
}
