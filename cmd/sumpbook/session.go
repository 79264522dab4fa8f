package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"sumpbook/config"
	"sumpbook/daemon"
	"sumpbook/maintenance/units"
)

// A session is one command at the book: through the daemon if one runs, else on the file.
type session struct {
	*daemon.Client
	reader
}

// settings reads the configuration; flags are keys that the command line sets.
func (p *program) settings(flags map[string]string) (daemon.Settings, error) {
	data := config.DataDir(p.data, os.Getenv)
	file, explicit := config.File(p.config, os.Getenv)
	c, err := config.Load(config.Options{
		File: file, Explicit: explicit, Settings: filepath.Join(data, "settings.yaml"), Env: os.Environ(), Flags: flags,
	})
	if c.Timezone != nil {
		p.person = readerOf(c, p.now)
	}
	for _, warning := range c.Warnings {
		p.talk("warning: %s", warning)
	}
	return daemon.Settings{Data: data, Config: c}, err
}

// atBook runs a command at the book and gives the book back.
func (p *program) atBook(ctx context.Context, do func(*session) error) error {
	s, err := p.settings(nil)
	if err != nil {
		return err
	}
	client, err := daemon.Connect(ctx, s)
	if err != nil {
		hint := "the book is looked for in " + s.Data + "; --data names another folder"
		if errors.Is(err, daemon.ErrLocked) {
			hint += "; what holds it has to end first"
		}
		return hinted{err, hint}
	}
	err = do(&session{client, p.person})
	return errors.Join(err, client.Close())
}

// moment is what --at and --known-by ask for.
func (p *program) moment(zone *time.Location) (m daemon.Moment, err error) {
	if m.At, err = p.flagTime("at", p.at, zone); err != nil {
		return m, err
	}
	m.KnownBy, err = p.flagTime("known-by", p.knownBy, zone)
	return m, err
}

func (p *program) flagTime(name, text string, zone *time.Location) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := units.ParseTime(text, p.now, zone)
	if err != nil {
		return t, usage("--"+name+": "+err.Error(), "write it like --"+name+`="2026-11-24 20:24"`)
	}
	return t, nil
}

// A reader is the person an answer is for: units, zone, and the moment from which "ago"
// counts.
type reader struct {
	system units.System
	zone   *time.Location
	now    time.Time
}

func readerOf(c config.Config, now time.Time) reader {
	return reader{units.System(c.Units), c.Timezone, now.In(c.Timezone)}
}

// asOf is the same person at another moment.
func (r reader) asOf(t time.Time) reader {
	r.now = t.In(r.zone)
	return r
}

func (r reader) clock(t time.Time) string { return t.In(r.zone).Format("Mon 2006-01-02 15:04 MST") }

// when is a time with how long ago it was.
func (r reader) when(t time.Time) string { return units.Describe(t.In(r.zone), r.now) }

// day is a time in a column.
func (r reader) day(t time.Time) string { return t.In(r.zone).Format("Mon 2006-01-02 15:04") }

var stamped = regexp.MustCompile(`(^|[ (,;])(\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:\.\d+)?)? ?(?:Z|[+-]\d\d:\d\d))`)

// local tells the times in a sentence of the book, which knows no zone, as the others are
// told. Ids and commands keep theirs.
func (r reader) local(text string) string {
	return stamped.ReplaceAllStringFunc(text, func(found string) string {
		before := found[:len(found)-len(strings.TrimLeft(found, " (,;"))]
		t, err := units.ParseTime(found[len(before):], r.now, r.zone)
		if err != nil {
			return found
		}
		short, _, _ := strings.Cut(r.when(t), ",")
		return before + short
	})
}

const gramsPerOunce = 28.349523125 // exact, by the definition of the pound

// inOunces says whether a mass is told in ounces: one under a hundredth of an ounce is told
// in grams, as small scales show it.
func (r reader) inOunces(g float64) bool {
	return r.system == units.US && (g == 0 || math.Abs(g) >= gramsPerOunce/100)
}

func (r reader) grams(g float64) string {
	if r.inOunces(g) {
		return units.Format(g, units.Gram, units.US)
	}
	return units.Format(g, units.Gram, units.Metric)
}

// about is an estimated mass to two figures of the unit in which it is told, rounded once.
func (r reader) about(g float64) string {
	if r.inOunces(g) {
		return units.Format(twoFigures(g/gramsPerOunce), "oz", units.US)
	}
	return units.Format(twoFigures(g), units.Gram, units.Metric)
}

// hours are run hours, in which the limits of the oil are told: never days.
func (r reader) hours(h float64) string {
	if h < 100 {
		return strconv.FormatFloat(math.Round(h*10)/10, 'f', -1, 64) + " h"
	}
	return strconv.FormatFloat(math.Round(h), 'f', -1, 64) + " h"
}

// between is an estimate with its low and high; a measured one has no width.
func (r reader) between(g, low, high float64) string {
	if low == high {
		return r.grams(g)
	}
	if low > 0 && !r.inOunces(low) { // one unit for the three
		r.system = units.Metric
	}
	return fmt.Sprintf("%s (%s to %s)", r.about(g), r.about(low), r.about(high))
}

func twoFigures(v float64) float64 { return toFigures(v, 2) }

func threeFigures(v float64) float64 { return toFigures(v, 3) }

func toFigures(v float64, n int) float64 {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', n, 64), 64) // reads what it wrote
	return rounded
}

// shown are the dimensions that are told in the person's units; the rest stand as they are.
var shown = map[units.Dimension]bool{
	units.Mass: true, units.Volume: true, units.Temperature: true, units.Pressure: true, units.Flow: true, units.Length: true,
}

// plainName is a stored name as a person reads it: "trap_c" is trap.
func plainName(name string) string { return strings.ReplaceAll(stem(name), "_", " ") }

// quantity is a number with its unit, in the person's units where there are such.
func (r reader) quantity(v float64, unit string) string {
	u, _ := units.UnitOf(unit)
	switch {
	case unit == "h":
		return r.hours(v)
	case unit == "min":
		return units.Format(v, u, r.system)
	case u.Dimension() == units.Mass:
		g, err := units.Convert(v, u, units.Gram)
		if err == nil {
			return r.grams(g)
		}
	case shown[u.Dimension()] && u != "K": // a width, not a temperature
		return units.Format(v, u, r.system)
	case v == 1 && singular[unit] != "":
		unit = singular[unit]
	}
	return figures(v) + suffix(unit)
}

var singular = map[string]string{"cycles": "cycle", "charges": "charge", "passes": "pass"}

// figures are four of a number, and all of it before the point.
func figures(v float64) string {
	if math.Abs(v) >= 1000 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return strconv.FormatFloat(v, 'g', 4, 64)
}

// share says whether a number without unit is a part of a whole.
func share(name string) bool {
	return strings.HasPrefix(name, "share") || slices.Contains([]string{"settled", "headspace", "waste_full", "full_fraction", "full_share"}, name)
}

// namely is the quantity of that name.
func (r reader) namely(name string, v float64, unit string) string {
	if unit == "1" && share(name) {
		return percent(v)
	}
	return r.quantity(v, unit)
}
