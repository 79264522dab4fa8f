package signal

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"
)

const (
	maxLine    = 4096       // bytes of one line of a trace
	maxSamples = 10_000_000 // of one trace: a year at three seconds
)

// A Gap is a hole in the record of a run: the last sample before it and the first behind.
type Gap struct{ From, To time.Time }

// A Run is one run of the machine as Replay found it.
type Run struct {
	Start, Stop time.Time // Stop is zero while Open
	Open        bool      // the record ends before the run does
	Short       bool      // ended, and shorter than ShortestRun
	Uncertain   bool      // its start or its stop lies next to a hole
	Gaps        []Gap     // holes it ran through
}

// Replay puts a recorded trace, in any order, through the detector. A hole never ends a run by itself, for no
// ticker runs; nothing is supposed to happen after the last sample.
func Replay(samples []Sample, cfg Config) []Run {
	samples = slices.Clone(samples)
	slices.SortStableFunc(samples, func(a, b Sample) int { return a.At.Compare(b.At) })
	var state State
	var runs []Run
	for _, s := range samples {
		last := state.Last
		next, edges := Step(state, s, cfg)
		state = next
		for _, e := range edges {
			runs = withEdge(runs, e, cfg)
		}
		if state.InRun() && !state.Start.After(last) && state.Last.Sub(last) > cfg.Alive {
			run := &runs[len(runs)-1]
			run.Gaps = append(run.Gaps, Gap{last, state.Last})
		}
	}
	return runs
}

func withEdge(runs []Run, e Edge, cfg Config) []Run {
	if e.Kind == Start {
		return append(runs, Run{Start: e.At, Open: true, Uncertain: e.Uncertain})
	}
	run := &runs[len(runs)-1]
	run.Stop, run.Open = e.At, false
	run.Short = e.At.Sub(run.Start) < cfg.ShortestRun
	run.Uncertain = run.Uncertain || e.Uncertain
	return runs
}

// ReadTrace reads a recorded trace: CSV with a header, a time column (local_time, time or at) and a value column
// (watts, power_w, temp_c or value); other columns are passed over. Times carry an offset (RFC 3339) or are local
// to zone; the local hour that an autumn repeats is read in the order of the record. Errors name the line.
func ReadTrace(r io.Reader, zone *time.Location) ([]Sample, error) {
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, maxLine)
	number := 0
	var columns traceColumns
	var samples []Sample
	for lines.Scan() {
		number++
		line := strings.TrimPrefix(lines.Text(), "\ufeff")
		var err error
		switch {
		case columns.count == 0:
			columns, err = headerOf(line)
		case line != "":
			samples, err = columns.read(samples, line, zone)
		}
		if err != nil {
			return nil, fmt.Errorf("read trace: line %d: %w", number, err)
		}
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("read trace: line %d: %w", number+1, err)
	}
	if columns.count == 0 {
		return nil, errors.New("read trace: line 1: no header; want local_time,watts")
	}
	return samples, nil
}

type traceColumns struct{ at, value, count int }

func headerOf(line string) (traceColumns, error) {
	names := fields(line)
	c := traceColumns{at: -1, value: -1, count: len(names)}
	for i, name := range names {
		switch strings.ToLower(name) {
		case "local_time", "time", "at":
			c.at = i
		case "watts", "power_w", "temp_c", "value":
			c.value = i
		}
	}
	if c.at < 0 || c.value < 0 {
		return traceColumns{}, fmt.Errorf("header %.80q: want a time column (local_time) and a value column (watts)", line)
	}
	return c, nil
}

func (c traceColumns) read(samples []Sample, line string, zone *time.Location) ([]Sample, error) {
	cells := fields(line)
	if len(cells) != c.count {
		return nil, fmt.Errorf("%d fields where the header has %d", len(cells), c.count)
	}
	if len(samples) == maxSamples {
		return nil, fmt.Errorf("more than %d samples", maxSamples)
	}
	value, err := number(cells[c.value])
	if err != nil {
		return nil, err
	}
	var last time.Time
	if len(samples) > 0 {
		last = samples[len(samples)-1].At
	}
	at, err := parseMoment(cells[c.at], zone, last)
	if err != nil {
		return nil, err
	}
	s, err := NewSample(at, time.Time{}, value)
	return append(samples, s), err
}

// fields splits a line at its commas; no cell of a trace has a comma within, so quotes need no more than this.
func fields(line string) []string {
	cells := strings.Split(line, ",")
	for i, cell := range cells {
		cell = strings.TrimSpace(cell)
		if len(cell) >= 2 && cell[0] == '"' && cell[len(cell)-1] == '"' {
			cell = cell[1 : len(cell)-1]
		}
		cells[i] = cell
	}
	return cells
}

// number reads a plain decimal; what ParseFloat takes besides (hex, underscores, inf) no meter sends.
func number(text string) (float64, error) {
	if strings.Trim(text, "0123456789+-.eE") != "" || len(text) > 40 {
		return 0, fmt.Errorf("%.40q is no number", text)
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return 0, fmt.Errorf("%.40q is no number", text)
	}
	return value, nil
}

// parseMoment reads RFC 3339, or the same without offset as a time local to zone. Of two instants that show
// that time the first is meant, unless it lies before last and the second does not.
func parseMoment(text string, zone *time.Location, last time.Time) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339Nano, text); err == nil {
		return t, nil
	}
	text = strings.Replace(text, " ", "T", 1)
	if t, err := time.Parse(time.RFC3339Nano, text); err == nil {
		return t, nil
	}
	wall, err := time.Parse("2006-01-02T15:04:05", text)
	if err != nil {
		return time.Time{}, fmt.Errorf("%.40q is no time; want 2026-11-24T20:24:00, with an offset or not", text)
	}
	if zone == nil {
		return time.Time{}, fmt.Errorf("%q has no offset and no zone is given", text)
	}
	first, second := instants(wall, zone)
	if first.Before(last) && !second.Before(last) {
		return second, nil
	}
	return first, nil
}

// instants are the first and the last moment at which clocks in zone show the wall time (a UTC time used as
// figures); for one that is skipped both are the moment the clocks move.
func instants(wall time.Time, zone *time.Location) (time.Time, time.Time) {
	_, before := wall.Add(-26 * time.Hour).In(zone).Zone()
	_, after := wall.Add(26 * time.Hour).In(zone).Zone()
	var found []time.Time
	for _, offset := range []int{max(before, after), min(before, after)} {
		t := wall.Add(-time.Duration(offset) * time.Second).In(zone)
		if _, shown := t.Zone(); shown == offset {
			found = append(found, t)
		}
	}
	if len(found) == 0 {
		moved, _ := wall.Add(-time.Duration(before) * time.Second).In(zone).ZoneBounds()
		return moved, moved
	}
	return found[0], found[len(found)-1]
}
