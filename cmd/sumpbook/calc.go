package main

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"sumpbook/maintenance/physics"
	"sumpbook/maintenance/units"
)

func (p *program) calcCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "calc NAME …",
		Short: "one of the calculations alone, with its formula and source",
		Long: `  sumpbook calc vapour-pressure --over ice --temp=-40C
  sumpbook calc settling-time --droplet 30um --height 120mm --grade VG68 --temp 20C
  sumpbook calc convert "1 lb 10 oz" --to g

Values take units; a bare number is in the unit that the flag names.`,
		Args: cobra.ArbitraryArgs,
	}
	for _, one := range physics.Calcs() {
		c.AddCommand(p.oneCalc(one))
	}
	c.AddCommand(p.convertCommand())
	c.RunE = func(c *cobra.Command, args []string) error {
		if len(args) == 0 {
			return usage("calc: which calculation?", "there are "+strings.Join(commandNames(c), ", "))
		}
		return usage(fmt.Sprintf("calc: there is no calculation %q", args[0]), suggest(args[0], commandNames(c)))
	}
	return c
}

func commandNames(c *cobra.Command) []string {
	var names []string
	for _, sub := range c.Commands() {
		names = append(names, sub.Name())
	}
	return names
}

func (p *program) oneCalc(calc physics.Calc) *cobra.Command {
	c := &cobra.Command{
		Use:   calc.Name,
		Short: calc.Help,
		Long:  fmt.Sprintf("%s, in %s\n\nformula: %s\nsource:  %s", calc.Help, calc.Unit, calc.Formula, calc.Source),
		Args:  noWords,
	}
	for _, f := range calc.Flags {
		c.Flags().String(f.Name, "", flagHelp(f))
	}
	c.RunE = func(c *cobra.Command, _ []string) error {
		args, err := calcArgs(calc, c.Flags())
		if err != nil {
			return err
		}
		result, err := physics.Calculate(calc.Name, args)
		if err != nil {
			return hinted{err, "see: " + c.CommandPath() + " --help"}
		}
		return p.printResult(result)
	}
	return c
}

func flagHelp(f physics.Flag) string {
	parts := []string{f.Help}
	span := strings.TrimSpace(fmt.Sprintf("%v to %v %s", f.Low, f.High, f.Unit))
	if !f.Text && !strings.Contains(f.Help, span) {
		parts = append(parts, span)
	}
	if !f.Text && !f.Required && !math.IsNaN(f.Default) {
		parts = append(parts, fmt.Sprintf("%v if not given", f.Default))
	}
	return strings.Join(parts, "; ")
}

// calcArgs reads the flags that were given, numbers in the unit of their flag.
func calcArgs(calc physics.Calc, given *pflag.FlagSet) (map[string]physics.Arg, error) {
	args := map[string]physics.Arg{}
	for _, f := range calc.Flags {
		flag := given.Lookup(f.Name)
		if !flag.Changed {
			continue
		}
		if f.Text {
			args[f.Name] = physics.Arg{Text: flag.Value.String()}
			continue
		}
		v, err := units.Parse(flag.Value.String(), unitOf("", f.Unit))
		if err != nil {
			return nil, usage(fmt.Sprintf("calc %s: --%s: %v", calc.Name, f.Name, err), flagHelp(f))
		}
		args[f.Name] = physics.Arg{Number: v}
	}
	return args, nil
}

func (p *program) printResult(r physics.Result) error {
	if p.json {
		return p.printJSON(calcAnswer(r))
	}
	s := newSheet()
	if r.Text != "" {
		s.line("%s", r.Text)
	} else {
		s.line("%s", strings.TrimSuffix(strconv.FormatFloat(r.Value, 'g', 6, 64)+" "+r.Unit, " 1"))
	}
	if r.Formula != "" {
		s.row("formula", r.Formula)
	}
	s.row("source", r.Source)
	return s.print(p.out)
}

// An answer of calc as JSON; value is a number, or the text of a code.
type answer struct {
	Value  any    `json:"value"`
	Unit   string `json:"unit"`
	Source string `json:"source"`
}

func calcAnswer(r physics.Result) answer {
	if r.Text != "" {
		return answer{r.Text, r.Unit, r.Source}
	}
	return answer{r.Value, r.Unit, r.Source}
}

// printJSON writes the one document of stdout.
func (p *program) printJSON(v any) error {
	b, err := json.Marshal(v, json.Deterministic(true), jsontext.EscapeForHTML(false))
	if err != nil {
		return fmt.Errorf("write the answer: %w", err)
	}
	_, err = fmt.Fprintf(p.out, "%s\n", b)
	return err
}

const exactFactors = "exact factors of the definitions: NIST SP 811 Appendix B; imperial gallon 4.54609 L"

func (p *program) convertCommand() *cobra.Command {
	var to string
	c := &cobra.Command{
		Use:     "convert VALUE --to UNIT",
		Short:   "a quantity in another unit",
		Example: "  sumpbook calc convert -40F --to C\n  sumpbook calc convert \"1 lb 10 oz\" --to g",
	}
	c.Flags().StringVar(&to, "to", "", "the `unit` wanted")
	c.RunE = func(c *cobra.Command, args []string) error {
		if len(args) == 0 || to == "" {
			return usage("calc convert: wants a value and --to UNIT", "write: sumpbook calc convert -40F --to C")
		}
		v, unit, err := convert(strings.Join(args, " "), to)
		if err != nil {
			return err
		}
		return p.printResult(physics.Result{Value: v, Unit: string(unit), Source: exactFactors})
	}
	return c
}

// convert reads a text and gives it in the unit written as to. A spelling of several units,
// such as oz or micron, is taken in the dimension of the text.
func convert(text, to string) (float64, units.Unit, error) {
	if unit, ok := units.UnitOf(to); ok {
		v, err := units.ConvertText(text, unit)
		if errors.Is(err, units.ErrNoUnit) {
			err = usage("calc convert: "+err.Error(), "write the unit behind the number: sumpbook calc convert -40F --to C")
		}
		return v, unit, err
	}
	value, from, err := units.ParseAny(text)
	if err != nil {
		return 0, "", usage("calc convert: "+err.Error(), "write a value with its unit: sumpbook calc convert -40F --to C")
	}
	one, err := units.ConvertText("1 "+to, from) // the only way to ask in this dimension
	if err != nil {
		return 0, "", usage(fmt.Sprintf("calc convert: --to %s: %v", to, err), "write a unit of "+string(from.Dimension()))
	}
	return value / one, units.Unit(to), nil
}

// noWords refuses words where a command takes none.
func noWords(c *cobra.Command, args []string) error {
	if len(args) > 0 {
		return usage(fmt.Sprintf("%s: %q is one word too many", c.Name(), args[0]), "see: "+c.CommandPath()+" --help")
	}
	return nil
}
