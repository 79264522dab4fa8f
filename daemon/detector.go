package daemon

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"math"
	"sync"
	"time"

	"github.com/go-json-experiment/json"
	jsonv1 "github.com/go-json-experiment/json/v1"

	"sumpbook/maintenance"
	"sumpbook/maintenance/signal"
)

// keepEvery is how old the detector's stored state may get while nothing but its newest
// sample changes: a kill then costs at most so much of a held value.
const keepEvery = time.Minute

// hotFor is how far from a stop a temperature still is that of the stop. Common practice,
// no source: a pump of some kilograms cools by a few kelvin in it.
const hotFor = 10 * time.Minute

// A detector is the memory of one pump's source, as it is stored beside the entries.
type detector struct {
	By    string       `json:"by"` // the source, as its entries name it
	State signal.State `json:"state"`
	Power bool         `json:"power,omitzero"` // it has told power: a temperature decides nothing
	TempC *value       `json:"temp_c,omitzero"`
	HotC  *value       `json:"hot_c,omitzero"` // the last while it ran
	Pa    *value       `json:"pa,omitzero"`
}

// A value is the newest of its kind.
type value struct {
	At    time.Time `json:"at"`
	Value float64   `json:"value"`
}

func encodeDetector(d detector) ([]byte, error) {
	return json.Marshal(d, jsonv1.FormatDurationAsNano(true))
}

func decodeDetector(raw []byte) (d detector, err error) {
	return d, json.Unmarshal(raw, &d, jsonv1.FormatDurationAsNano(true))
}

// A Reading is one message of a source, as far as it tells: power in W, or 1 and 0 of a
// switch; temperature in °C; pressure in Pa.
type Reading struct {
	At, Arrived time.Time // as those of a signal.Sample
	Retained    bool
	Power       *float64
	TempC       *float64
	Pa          *float64
}

// A Sensor takes one pump's readings, turns them into starts and stops on the book, and
// keeps the detector's state with them, so that neither a replay nor a kill in mid-dwell
// changes the cycles found. Its methods may be called at once.
type Sensor struct {
	pump  string
	cfg   thresholds
	book  *Book
	log   *slog.Logger
	meant bool // the configuration names it

	mu     sync.Mutex
	det    detector
	kept   time.Time // when the state was last stored
	stored []byte
}

// thresholds are those of a source: of its power, or of its temperature alone.
type thresholds struct{ power, temp signal.Config }

// NewSensor takes up a pump's source where the book left it.
func NewSensor(b *Book, pump, by string, cfg thresholds, log *slog.Logger, now time.Time) (*Sensor, error) {
	s := &Sensor{pump: pump, cfg: cfg, book: b, log: log}
	raw, found, err := b.journal.Signal(pump)
	if err == nil && found {
		s.det, err = decodeDetector(raw)
	}
	if err != nil {
		return nil, fmt.Errorf("take up the signal of %s: %w", pump, err)
	}
	s.det.By = by
	s.det.State = signal.Resume(s.det.State, now)
	return s, nil
}

// Take judges readings in the order in which they came; now is the clock of the book. When
// the book cannot keep the starts and stops that they mean, the detector stands where it
// stood, and the readings may be told again.
func (s *Sensor) Take(ctx context.Context, now time.Time, readings []Reading) error {
	return s.change(ctx, now, keepEvery, func() (edges []signal.Edge) {
		for _, r := range readings {
			edges = append(edges, s.det.hear(r, s.cfg)...)
		}
		return edges
	})
}

// Tick lets time pass without a reading.
func (s *Sensor) Tick(ctx context.Context, now time.Time) error {
	return s.change(ctx, now, keepEvery, func() (edges []signal.Edge) {
		s.det.State, edges = signal.Tick(s.det.State, now, s.det.deciding(s.cfg))
		return edges
	})
}

// Hold says that the source is known to be there, and silent because nothing has changed:
// its last value holds on. A retained value that came later makes that doubtful.
func (s *Sensor) Hold(ctx context.Context, now time.Time) error {
	return s.change(ctx, now, keepEvery, func() (edges []signal.Edge) {
		st, cfg := s.det.State, s.det.deciding(s.cfg)
		if st.Last.IsZero() || st.Value != st.Held || now.Sub(st.Arrived) < cfg.Alive/3 {
			return nil
		}
		s.det.State, edges = signal.Step(st, signal.Sample{At: now, Arrived: now, Value: st.Held}, cfg)
		return edges
	})
}

// Keep stores the detector as it stands.
func (s *Sensor) Keep(ctx context.Context, now time.Time) error {
	return s.change(ctx, now, 0, func() []signal.Edge { return nil })
}

// change takes a step of the detector and stores it, with the entries it means, if there
// are any, if the phase is another, or if what is stored is old.
func (s *Sensor) change(ctx context.Context, now time.Time, old time.Duration, step func() []signal.Edge) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if clockUnset(now, s.book.now.Load().last) {
		return nil
	}
	before := s.det
	edges := step()
	if len(edges) == 0 && s.det.State.Phase == before.State.Phase && now.Sub(s.kept).Abs() < old {
		return nil
	}
	err := s.keep(ctx, now, edges)
	if err != nil && len(edges) > 0 {
		s.det = before
	}
	return err
}

func (s *Sensor) keep(ctx context.Context, now time.Time, edges []signal.Edge) error {
	raw, err := encodeDetector(s.det)
	if err != nil {
		return fmt.Errorf("keep the signal of %s: %w", s.pump, err)
	}
	entries := make([]maintenance.Entry, len(edges))
	for i, e := range edges {
		entries[i] = s.det.entry(s.pump, e)
	}
	if len(entries) == 0 && bytes.Equal(raw, s.stored) { // a silent source costs no commit
		return nil
	}
	receipt, err := s.book.RecordSignal(ctx, now, s.pump, raw, entries)
	if err != nil {
		return fmt.Errorf("record the signal of %s: %w", s.pump, err)
	}
	s.kept, s.stored = now, raw
	for i, e := range edges {
		s.log.Info("signal", "pump", s.pump, "edge", e.Kind, "at", e.At, "rule", e.Rule, "samples", e.Samples,
			"longest_gap", e.LongestGap, "uncertain", e.Uncertain, "new", !receipt.Entries[i].Duplicate)
	}
	return nil
}

// hear takes one reading. Power decides where the source tells it, else the temperature.
func (d *detector) hear(r Reading, cfg thresholds) (edges []signal.Edge) {
	decides := r.Power
	d.Power = d.Power || r.Power != nil
	if !d.Power {
		decides = r.TempC
	}
	if decides != nil {
		d.State, edges = signal.Step(d.State, signal.Sample{At: r.At, Arrived: r.Arrived, Value: *decides, Retained: r.Retained}, d.deciding(cfg))
	}
	d.TempC, d.Pa = newer(d.TempC, r, r.TempC), newer(d.Pa, r, r.Pa)
	if d.Power && d.State.Phase == signal.Running {
		d.HotC = newer(d.HotC, r, r.TempC)
	}
	return edges
}

func (d *detector) deciding(cfg thresholds) signal.Config {
	if d.Power {
		return cfg.power
	}
	return cfg.temp
}

// newer is a value that a reading tells, unless the one before is of later.
func newer(before *value, r Reading, told *float64) *value {
	if told == nil || r.Retained || before != nil && r.At.Before(before.At) {
		return before
	}
	return &value{r.At.UTC(), *told}
}

// entry is the entry an edge means. Its id is made of what it says, so that a replay adds
// nothing.
func (d *detector) entry(pump string, e signal.Edge) maintenance.Entry {
	at := e.At.UTC()
	out := maintenance.Entry{ID: fmt.Sprintf("%s/%s/%s", pump, e.Kind, at.Format(time.RFC3339Nano)), At: at, By: d.By}
	if e.Kind == signal.Start {
		out.Act = &maintenance.StartAct{Pump: pump}
		return out
	}
	stop := &maintenance.StopAct{Pump: pump, HotC: d.hotAt(at)}
	if e.Uncertain {
		stop.Uncertain = new(true)
	}
	out.Act = stop
	return out
}

// hotAt is the temperature that the pump had at a stop, if it was told near it and can be
// that of oil.
func (d *detector) hotAt(stop time.Time) *float64 {
	if d.HotC == nil || stop.Sub(d.HotC.At).Abs() > hotFor || d.HotC.Value < 0 || d.HotC.Value > 150 {
		return nil
	}
	return new(math.Round(d.HotC.Value*10) / 10)
}

// State is what the detector believes now.
func (s *Sensor) State() signal.State { return s.now().State }

func (s *Sensor) now() detector {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.det
}

// silent says whether the source has not been heard for longer than it is believed.
func (s *Sensor) silent(now time.Time) bool {
	d := s.now()
	return d.State.Arrived.IsZero() || now.Sub(d.State.Arrived) > d.deciding(s.cfg).Alive
}

// goneAfter is when a silent source that no configuration names is no longer asked after.
const goneAfter = 7 * 24 * time.Hour

// gone says whether nobody expects to hear the source.
func (s *Sensor) gone(now time.Time) bool {
	return !s.meant && now.Sub(s.State().Arrived) > goneAfter
}
