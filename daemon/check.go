package daemon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"sumpbook/daemon/journal"
	"sumpbook/maintenance"
	"sumpbook/maintenance/signal"
)

// Ready says whether the book can take entries.
func (b *Book) Ready() error {
	if doubt := b.doubt.Load(); doubt != nil {
		return fmt.Errorf("%w: %v", errHalted, *doubt)
	}
	seq, head := b.Head()
	e, found, err := b.journal.At(seq)
	if err != nil {
		return err
	}
	if seq > 0 && (!found || e.Hash != head) {
		return fmt.Errorf("entry %d: %w", seq, journal.ErrDamaged)
	}
	return nil
}

// checkFold folds the journal from the beginning and compares: the state that is served is
// the fold of the entries, or it is wrong.
func (b *Book) checkFold() error {
	s := b.now.Load()
	fresh := maintenance.NewState()
	err := b.Walk(s.seq, time.Unix(1<<40, 0), func(e maintenance.Entry) error {
		_, err := fresh.Apply(b.rules, e)
		if err != nil {
			return fmt.Errorf("entry %d does not follow: %w", e.Seq, err)
		}
		return nil
	})
	if err != nil {
		return err
	}
	want, err1 := maintenance.EncodeState(fresh)
	got, err2 := maintenance.EncodeState(s.state)
	if err := errors.Join(err1, err2); err != nil {
		return err
	}
	if !bytes.Equal(want, got) {
		return errors.New("the state that is served is not the fold of the entries: restart, and report this")
	}
	return nil
}

// A Finding is one thing the doctor looked at.
type Finding struct {
	What  string `json:"what"`
	State string `json:"state"` // ok, warn or bad
	Says  string `json:"says"`
	Do    string `json:"do,omitzero"`
}

// Doctor looks at the clock, the disk, the book, the sources, the channels and the backups.
func (k *Keeper) Doctor(ctx context.Context) []Finding {
	all := []Finding{k.lookAtClock(), k.lookAtBook(ctx), k.lookAtDisk(), k.lookAtBackups()}
	all = append(all, k.lookAtSources()...)
	all = append(all, k.lookAtBrokers()...)
	return append(append(all, k.lookAtChannels()...), k.lookAtHeartbeat()...)
}

func (k *Keeper) lookAtClock() Finding {
	last, now := k.book.now.Load().last, k.clock()
	if now.Before(last.Add(-futureSlack)) {
		return Finding{"clock", "bad", fmt.Sprintf("it says %s, before the newest entry was recorded, %s", now.Format(time.RFC3339), last.Format(time.RFC3339)), "set the clock; reminders wait until then"}
	}
	return Finding{What: "clock", State: "ok", Says: now.In(k.settings.Config.Timezone).Format("Mon 2006-01-02 15:04 MST")}
}

func (k *Keeper) lookAtBook(ctx context.Context) Finding {
	if err := k.book.Ready(); err != nil {
		return Finding{"book", "bad", err.Error(), "look at the disk; nothing is lost that was acknowledged"}
	}
	v, err := k.Verify(ctx)
	switch {
	case err != nil:
		return Finding{"book", "warn", err.Error(), "ask again"}
	case !v.OK:
		return Finding{"book", "bad", v.Bad, "restore a backup: sumpbook restore FILE"}
	}
	return Finding{What: "book", State: "ok", Says: fmt.Sprintf("%d entries, whole, head %.12s", v.Entries, v.Head)}
}

const lowDisk = 64 << 20

func (k *Keeper) lookAtDisk() Finding {
	free, err := freeBytes(k.settings.Data)
	if err != nil {
		return Finding{"disk", "warn", err.Error(), ""}
	}
	if free < lowDisk {
		return Finding{"disk", "bad", fmt.Sprintf("%d MB free", free>>20), "make room: a full disk stops the writing"}
	}
	return Finding{What: "disk", State: "ok", Says: fmt.Sprintf("%d MB free", free>>20)}
}

// backupAge is how old the newest backup may be.
const backupAge = 45 * 24 * time.Hour

func (k *Keeper) lookAtBackups() Finding {
	b, err := os.ReadFile(filepath.Join(k.settings.Data, backupMark))
	if err != nil {
		return Finding{"backup", "warn", "none on record", "make one on another disk: sumpbook backup FILE"}
	}
	at, err := time.Parse(time.RFC3339, string(bytes.TrimSpace(b)))
	if age := k.clock().Sub(at); err != nil || age > backupAge {
		return Finding{"backup", "warn", "the newest is of " + string(bytes.TrimSpace(b)), "make one on another disk: sumpbook backup FILE"}
	}
	return Finding{What: "backup", State: "ok", Says: "the newest is of " + at.In(k.settings.Config.Timezone).Format("Mon 2006-01-02 15:04")}
}

// backupMark is the file that remembers when the last backup was made.
const backupMark = "last-backup"

func (k *Keeper) markBackup() {
	// Only the doctor reads it; without it he asks for a backup that is there.
	_ = os.WriteFile(filepath.Join(k.settings.Data, backupMark), []byte(k.clock().UTC().Format(time.RFC3339)+"\n"), 0o600)
}

func (k *Keeper) lookAtSources() (all []Finding) {
	for _, s := range k.allSensors() {
		if s.gone(k.clock()) {
			continue
		}
		d, f := s.now(), Finding{What: "source " + s.pump, State: "ok"}
		st := d.State
		switch {
		case st.Arrived.IsZero():
			f.State, f.Says, f.Do = "warn", "no power or temperature heard yet", "look at the broker, the topic and the pointers"
		case s.silent(k.clock()):
			f.State, f.Says, f.Do = "warn", "silent since "+st.Arrived.Format(time.RFC3339), "look at the plug and the broker"
		default:
			f.Says = fmt.Sprintf("%s since %s, last value %.4g, %d samples dropped", st.Phase, st.Since.Format(time.RFC3339), st.Value, st.Dropped)
		}
		if st.Phase == signal.Unknown && f.State == "ok" {
			f.State = "warn"
		}
		f.Says += tellValue(", %.4g °C", d.TempC) + tellValue(", %.3g Pa", d.Pa)
		all = append(all, f)
	}
	return all
}

// tellValue is a value that a source has told beside what it is judged by.
func tellValue(format string, v *value) string {
	if v == nil {
		return ""
	}
	return fmt.Sprintf(format+" at %s", v.Value, v.At.Format(time.RFC3339))
}

// lookAtBrokers tells of the daemon's connections; a command has none.
func (k *Keeper) lookAtBrokers() (all []Finding) {
	for _, l := range k.brokers {
		f := Finding{What: "broker", State: "ok", Says: l.src.Pump + ": subscribed to " + l.src.Topic}
		if !l.up.Load() {
			f.State, f.Says, f.Do = "bad", l.src.Pump+": not connected to "+l.src.Broker, "look whether the broker runs; the daemon tries again by itself"
		}
		if n := l.refuse.Load(); n > 0 {
			f.Says += fmt.Sprintf("; %d payloads without a reading", n)
		}
		all = append(all, f)
	}
	for _, l := range k.repliers {
		f := Finding{What: "replies " + l.src.Name, State: "ok", Says: "subscribed to " + l.src.Replies}
		if !l.up.Load() {
			f.State, f.Says, f.Do = "bad", "not connected to "+l.src.Broker, "look whether the broker runs; the daemon tries again by itself"
		}
		all = append(all, f)
	}
	return all
}

func (k *Keeper) lookAtChannels() (all []Finding) {
	failing := k.outbox.Failing()
	for _, ch := range k.channels {
		f := Finding{What: "channel " + ch.Name(), State: "ok", Says: "no failure on record"}
		if why, is := failing[ch.Name()]; is {
			f.State, f.Says, f.Do = "bad", why, "mend it, then: sumpbook notify test"
		} else if slices.Contains(k.pushChannels(), ch.Name()) {
			k.lookAtPhones(&f, ch.Name())
		}
		all = append(all, f)
	}
	if len(k.channels) == 0 {
		all = append(all, Finding{"channels", "warn", "nobody is reminded", "add a channel to the configuration"})
	}
	return all
}

func (k *Keeper) lookAtPhones(f *Finding, channel string) {
	phones, err := k.phones.Phones(channel)
	switch {
	case err != nil:
		f.State, f.Says = "bad", err.Error()
	case len(phones) == 0:
		f.State, f.Says, f.Do = "warn", "no phone has asked for reminders yet", "let one ask, over https"
	}
}
