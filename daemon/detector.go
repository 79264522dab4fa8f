package daemon

import (
	"context"
	"fmt"
	"log/slog"
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

// A detector is the memory of one pump's source, as it is stored beside the entries.
type detector struct {
	By    string       `json:"by"` // the source, as its entries name it
	State signal.State `json:"state"`
}

func encodeDetector(d detector) ([]byte, error) {
	return json.Marshal(d, jsonv1.FormatDurationAsNano(true))
}

func decodeDetector(raw []byte) (d detector, err error) {
	return d, json.Unmarshal(raw, &d, jsonv1.FormatDurationAsNano(true))
}

// A Sensor takes one pump's samples, turns them into starts and stops on the book, and
// keeps the detector's state with them, so that neither a replay nor a kill in mid-dwell
// changes the cycles found. Its methods may be called at once.
type Sensor struct {
	pump string
	by   string
	cfg  signal.Config
	book *Book
	log  *slog.Logger

	mu   sync.Mutex
	det  detector
	kept time.Time // when the state was last stored
}

// NewSensor takes up a pump's source where the book left it.
func NewSensor(b *Book, pump, by string, cfg signal.Config, log *slog.Logger, now time.Time) (*Sensor, error) {
	s := &Sensor{pump: pump, by: by, cfg: cfg, book: b, log: log}
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

// Take judges samples in the order in which they came; now is the clock of the book. When
// the book cannot keep what they mean, the detector stands where it stood, and the samples
// may be told again.
func (s *Sensor) Take(ctx context.Context, now time.Time, samples []signal.Sample) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	before := s.det.State
	var edges []signal.Edge
	for _, one := range samples {
		var more []signal.Edge
		s.det.State, more = signal.Step(s.det.State, one, s.cfg)
		edges = append(edges, more...)
	}
	return s.settle(ctx, now, before, edges)
}

// Tick lets time pass without a sample.
func (s *Sensor) Tick(ctx context.Context, now time.Time) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	before := s.det.State
	var edges []signal.Edge
	s.det.State, edges = signal.Tick(s.det.State, now, s.cfg)
	return s.settle(ctx, now, before, edges)
}

// settle stores what a step changed, with the entries it means.
func (s *Sensor) settle(ctx context.Context, now time.Time, before signal.State, edges []signal.Edge) error {
	if len(edges) == 0 && s.det.State.Phase == before.Phase && now.Sub(s.kept).Abs() < keepEvery {
		return nil
	}
	raw, err := encodeDetector(s.det)
	if err != nil {
		return fmt.Errorf("keep the signal of %s: %w", s.pump, err)
	}
	entries := make([]maintenance.Entry, len(edges))
	for i, e := range edges {
		entries[i] = s.det.entry(s.pump, e)
	}
	receipt, err := s.book.RecordSignal(ctx, now, s.pump, raw, entries)
	if err != nil {
		s.det.State = before
		return fmt.Errorf("record the signal of %s: %w", s.pump, err)
	}
	s.kept = now
	for i, e := range edges {
		s.log.Info("signal", "pump", s.pump, "edge", e.Kind, "at", e.At, "rule", e.Rule, "samples", e.Samples,
			"longest_gap", e.LongestGap, "uncertain", e.Uncertain, "new", !receipt.Entries[i].Duplicate)
	}
	return nil
}

// entry is the entry an edge means. Its id is made of what it says, so that a replay adds
// nothing.
func (d detector) entry(pump string, e signal.Edge) maintenance.Entry {
	at := e.At.UTC()
	out := maintenance.Entry{ID: fmt.Sprintf("%s/%s/%s", pump, e.Kind, at.Format(time.RFC3339Nano)), At: at, By: d.By}
	if e.Kind == signal.Start {
		out.Act = &maintenance.StartAct{Pump: pump}
		return out
	}
	stop := &maintenance.StopAct{Pump: pump}
	if e.Uncertain {
		stop.Uncertain = new(true)
	}
	out.Act = stop
	return out
}

// State is what the detector believes now.
func (s *Sensor) State() signal.State {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.det.State
}
