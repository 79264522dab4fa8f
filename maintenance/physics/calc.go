package physics

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// An Arg is the value of one flag of a calculation: a number in the flag's unit, or
// a text where the flag is one.
type Arg struct {
	Number float64
	Text   string
}

// A Flag is one input of a calculation.
type Flag struct {
	Name      string
	Unit      string  // of the number: "C", "m3/h", ...; empty for a pure number
	Text      bool    // takes a text instead of a number
	Required  bool    // no default: Default counts only where this is false
	Default   float64 // NaN: none, another flag takes its place
	Low, High float64 // range of the number, ends included
	Help      string  // one line
}

// A Calc is one calculation that can be asked for alone.
type Calc struct {
	Name, Help string
	Flags      []Flag
	Unit       string // of the result
	Formula    string // in words and signs, as a person would check it by hand
	Source     string

	run func(args map[string]Arg) (Result, error)
}

// A Result is the answer of a calculation. Text is set, and Value 0, where the
// answer is a code.
type Result struct {
	Value                 float64
	Text                  string
	Unit, Formula, Source string
}

// A UsageError says which calculation was asked wrongly, and what would be right.
type UsageError struct{ Calc, Says string }

// Error names the calculation and the fault.
func (e UsageError) Error() string { return "calc " + e.Calc + ": " + e.Says }

// Calcs lists the calculations, in the order in which help shows them.
func Calcs() []Calc { return slices.Clone(calcs) }

// Calculate runs one calculation by name. An unknown name or flag, or a flag that
// is missing, is a UsageError; a number out of its range a RangeError.
func Calculate(name string, args map[string]Arg) (Result, error) {
	i := slices.IndexFunc(calcs, func(c Calc) bool { return c.Name == name })
	if i < 0 {
		return Result{}, UsageError{name, "is no calculation; there are " + strings.Join(names(), ", ")}
	}
	c := calcs[i]
	full, err := c.complete(args)
	if err != nil {
		return Result{}, err
	}
	result, err := c.run(full)
	if err != nil {
		return Result{}, fmt.Errorf("calc %s: %w", name, err)
	}
	result.Unit, result.Formula, result.Source = c.Unit, c.Formula, c.Source
	return result, nil
}

func names() []string {
	out := make([]string, len(calcs))
	for i, c := range calcs {
		out[i] = c.Name
	}
	return out
}

// complete checks what was given against the flags and fills in the defaults.
func (c Calc) complete(args map[string]Arg) (map[string]Arg, error) {
	for _, given := range slices.Sorted(maps.Keys(args)) {
		if !slices.ContainsFunc(c.Flags, func(f Flag) bool { return f.Name == given }) {
			return nil, UsageError{c.Name, "has no flag " + given}
		}
	}
	full := maps.Clone(args)
	if full == nil {
		full = map[string]Arg{}
	}
	for _, f := range c.Flags {
		a, given := args[f.Name]
		switch {
		case given && !f.Text:
			if err := (limit{f.Name, f.Low, f.High, f.Unit}).check(a.Number); err != nil {
				return nil, fmt.Errorf("calc %s: %w", c.Name, err)
			}
		case given:
		case f.Required:
			return nil, UsageError{c.Name, "wants " + f.Name + ": " + f.Help}
		case !math.IsNaN(f.Default):
			full[f.Name] = Arg{Number: f.Default}
		}
	}
	return full, c.checkOil(full)
}

// checkOil: an oil is told by its grade or by its two viscosities, not by both.
func (c Calc) checkOil(args map[string]Arg) error {
	if !slices.ContainsFunc(c.Flags, func(f Flag) bool { return f.Name == "grade" }) {
		return nil
	}
	_, grade := args["grade"]
	_, v40 := args["v40"]
	_, v100 := args["v100"]
	if v40 != v100 || grade == v40 {
		return UsageError{c.Name, "wants the oil as grade, or as v40 and v100"}
	}
	return nil
}

func oilOf(args map[string]Arg) (Oil, error) {
	if grade, ok := args["grade"]; ok {
		return OilOfGrade(grade.Text)
	}
	return Oil{V40: args["v40"].Number, V100: args["v100"].Number, Density15: DefaultDensity15}, nil
}
