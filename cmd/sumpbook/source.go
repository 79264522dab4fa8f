package main

import (
	"context"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"sumpbook/config"
	"sumpbook/maintenance"
	"sumpbook/maintenance/signal"
	"sumpbook/maintenance/units"
)

func (p *program) sourceCommand() *cobra.Command {
	c := &cobra.Command{Use: "source", Short: "the machine's signals", Args: cobra.ArbitraryArgs, RunE: subcommandWanted}
	c.AddCommand(p.replayCommand())
	return c
}

// A replay is what source replay was asked.
type replay struct {
	pump, zone                 string
	into                       bool
	onW, offW                  float64
	startFor, endFor, shortest string
	alive                      string
}

func (p *program) replayCommand() *cobra.Command {
	var r replay
	c := &cobra.Command{
		Use: "replay FILE --pump P", Short: "a recorded trace through the detector: the cycles it finds", Args: one("FILE"),
		Long: `  sumpbook source replay trace.csv --pump north --zone Europe/Oslo
  sumpbook source replay trace.csv --pump north --on-w 150 --off-w 40 --end-for 10m
  sumpbook source replay trace.csv --pump north --into

The trace is CSV with a header: a time column (local_time, time or at) and a value column
(watts, power_w, temp_c or value). --into records the starts and stops, each once, however
often the trace is replayed.`,
	}
	f := c.Flags()
	f.StringVar(&r.pump, "pump", "", "the `pump` whose trace it is")
	f.StringVar(&r.zone, "zone", "", "`zone` of times without offset (the configuration's)")
	f.BoolVar(&r.into, "into", false, "record what is found")
	f.Float64Var(&r.onW, "on-w", 0, "runs above, `W`")
	f.Float64Var(&r.offW, "off-w", 0, "stands below, `W`")
	f.StringVar(&r.startFor, "start-for", "", "so long above is a start (`2m`)")
	f.StringVar(&r.endFor, "end-for", "", "so long below is an end (`3m`)")
	f.StringVar(&r.shortest, "shortest-run", "", "a shorter run is no cycle (`20m`)")
	f.StringVar(&r.alive, "alive", "", "a source silent for longer is not believed (`15m`)")
	c.RunE = func(c *cobra.Command, args []string) error { return p.replay(c, args[0], r) }
	return c
}

func (p *program) replay(c *cobra.Command, path string, r replay) error {
	if r.pump == "" {
		return usage("replay: --pump is missing", "write: sumpbook source replay FILE --pump P")
	}
	s, err := p.settings(nil)
	if err != nil {
		return err
	}
	cfg, err := r.detector(c, s.Config)
	if err != nil {
		return err
	}
	zone, err := zoneOf(r.zone, s.Config.Timezone)
	if err != nil {
		return err
	}
	file, err := os.Open(path)
	if err != nil {
		return hinted{err, "name a CSV file with the columns local_time and watts"}
	}
	defer file.Close()
	samples, err := signal.ReadTrace(file, zone)
	if err != nil {
		return hinted{fmt.Errorf("%s: %w", path, err), "a trace is CSV with the columns local_time and watts"}
	}
	runs := signal.Replay(samples, cfg)
	if r.into {
		if err := p.replayInto(c.Context(), r.pump, runs); err != nil {
			return err
		}
	}
	return p.showRuns(readerOf(s.Config, p.now), len(samples), runs, zone)
}

func zoneOf(name string, usual *time.Location) (*time.Location, error) {
	if name == "" {
		return usual, nil
	}
	zone, err := time.LoadLocation(name)
	if err != nil {
		return nil, usage(fmt.Sprintf("replay: --zone: %q is no time zone known here", name), "write it like Europe/Oslo")
	}
	return zone, nil
}

// detector is the configuration of the pump's source, else the general one, under the flags.
func (r replay) detector(c *cobra.Command, conf config.Config) (signal.Config, error) {
	g := conf.Signals
	for _, source := range conf.Sources {
		if source.Pump == r.pump {
			g = source.Signals
		}
	}
	cfg := signal.Config{On: g.OnW, Off: g.OffW, StartFor: g.StartFor, EndFor: g.EndFor, ShortestRun: g.ShortestRun, Alive: g.Alive}
	if c.Flags().Changed("on-w") {
		cfg.On = r.onW
	}
	if c.Flags().Changed("off-w") {
		cfg.Off = r.offW
	}
	for _, span := range []struct {
		flag, text string
		to         *time.Duration
	}{{"start-for", r.startFor, &cfg.StartFor}, {"end-for", r.endFor, &cfg.EndFor}, {"shortest-run", r.shortest, &cfg.ShortestRun}, {"alive", r.alive, &cfg.Alive}} {
		if span.text == "" {
			continue
		}
		seconds, err := units.ConvertText(span.text, units.Second)
		if err != nil {
			return cfg, usage(fmt.Sprintf("replay: --%s: %v", span.flag, err), "write it like 90s or 3m")
		}
		*span.to = time.Duration(seconds * float64(time.Second))
	}
	if err := cfg.Check(); err != nil {
		return cfg, usage("replay: "+err.Error(), "give --on-w above --off-w, and spans that are not negative")
	}
	return cfg, nil
}

// replayInto records the edges under the ids that a live source would give them.
func (p *program) replayInto(ctx context.Context, pump string, runs []signal.Run) error {
	var entries []maintenance.Entry
	for _, run := range runs {
		entries = append(entries, edge(pump, signal.Start, run.Start, &maintenance.StartAct{Pump: pump}))
		if !run.Open {
			stop := &maintenance.StopAct{Pump: pump}
			if run.Uncertain {
				stop.Uncertain = &run.Uncertain
			}
			entries = append(entries, edge(pump, signal.Stop, run.Stop, stop))
		}
	}
	return p.atBook(ctx, func(b *session) error {
		receipt, err := recordAll(ctx, b, entries, false)
		if err == nil {
			p.talk("recorded: %d entries, %d there already", receipt.Accepted, receipt.Duplicates)
		}
		return err
	})
}

func edge(pump string, kind signal.Kind, at time.Time, act maintenance.Act) maintenance.Entry {
	at = at.UTC()
	return maintenance.Entry{ID: fmt.Sprintf("%s/%s/%s", pump, kind, at.Format(time.RFC3339Nano)), At: at, Act: act, By: "replay"}
}

// A foundRun is one run as JSON.
type foundRun struct {
	Start     time.Time  `json:"start"`
	Stop      *time.Time `json:"stop"` // null: the record ends before the run
	Cycle     bool       `json:"cycle"`
	Uncertain bool       `json:"uncertain"`
	Holes     int        `json:"holes"`
}

func (p *program) showRuns(r reader, samples int, runs []signal.Run, zone *time.Location) error {
	found := []foundRun{}
	for _, run := range runs {
		one := foundRun{Start: run.Start.In(zone), Cycle: !run.Short, Uncertain: run.Uncertain, Holes: len(run.Gaps)}
		if !run.Open {
			stop := run.Stop.In(zone)
			one.Stop = &stop
		}
		found = append(found, one)
	}
	if p.json {
		return p.printJSON(found)
	}
	r.zone = zone
	s := newSheet()
	s.line("%s, %s", count(samples, "sample"), count(len(runs), "run"))
	if len(found) > 0 {
		s.row("START", "STOP", "RAN", "")
	}
	for _, run := range found {
		stop, ran := "runs on", ""
		if run.Stop != nil {
			stop, ran = r.day(*run.Stop), units.Format(run.Stop.Sub(run.Start).Seconds(), units.Second, r.system)
		}
		s.row(r.day(run.Start), stop, ran, run.remarks())
	}
	return s.print(p.out)
}

func (f foundRun) remarks() string {
	var all []string
	if !f.Cycle {
		all = append(all, "too short for a cycle")
	}
	if f.Uncertain {
		all = append(all, "uncertain")
	}
	if f.Holes > 0 {
		all = append(all, count(f.Holes, "hole")+" in the record")
	}
	return strings.Join(all, ", ")
}
