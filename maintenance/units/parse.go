package units

import (
	"errors"
	"fmt"
	"math/big"
	"regexp"
	"strings"
)

// maxText bounds what anyone may write as one quantity or one time, in bytes.
const maxText = 80

// ErrNoUnit is inside the error of ParseAny and ConvertText when the text is a number alone.
var ErrNoUnit = errors.New("no unit is given")

// Parse reads a quantity and gives it in the wanted unit. A bare number is taken to be in that unit.
// A text in a unit of another dimension, a number that is not finite, and a text that may mean two things
// are refused; the error quotes the text and says what would be right.
func Parse(text string, want Unit) (float64, error) {
	if want.Dimension() == "" {
		return 0, fmt.Errorf("read %s: unknown unit %q is wanted", quoted(text), string(want))
	}
	value, from, err := read(text, want.Dimension())
	if errors.Is(err, ErrNoUnit) {
		from, err = want, nil
	}
	if err != nil {
		return 0, fmt.Errorf("read %s: %w", quoted(text), err)
	}
	result, err := convert(value, from, want)
	if err != nil {
		return 0, fmt.Errorf("read %s: %w", quoted(text), err)
	}
	return result, nil
}

// ConvertText is Parse for a text that must name its unit: ErrNoUnit otherwise.
func ConvertText(text string, to Unit) (float64, error) {
	if _, _, err := read(text, to.Dimension()); errors.Is(err, ErrNoUnit) {
		return 0, fmt.Errorf("convert %s to %s: %w", quoted(text), to, err)
	}
	return Parse(text, to)
}

// ParseAny reads a quantity of any dimension; the unit it gives is the (first) one written. A bare number is
// ErrNoUnit; a unit that several dimensions share ("8 oz") is refused with the readings.
func ParseAny(text string) (value float64, unit Unit, err error) {
	exactly, unit, err := read(text, "")
	if err == nil {
		value, err = convert(exactly, unit, unit)
	}
	if err != nil {
		return 0, "", fmt.Errorf("read %s: %w", quoted(text), err)
	}
	return value, unit, nil
}

func quoted(text string) string {
	if len(text) > maxText {
		text = strings.ToValidUTF8(text[:maxText], "") + "…"
	}
	return fmt.Sprintf("%q", text)
}

// read gives the value in the first unit written. want "" leaves the dimension open.
func read(text string, want Dimension) (*big.Rat, Unit, error) {
	if len(text) > maxText {
		return nil, "", fmt.Errorf("longer than %d bytes", maxText)
	}
	text = strings.TrimSpace(vulgar.Replace(strings.ReplaceAll(text, "\u2212", "-")))
	if text == "" {
		return nil, "", fmt.Errorf("nothing is given%s", suggest(want))
	}
	if value, ok := clockDuration(text); ok && (want == "" || want == Duration) {
		return value, Hour, nil
	}
	body, negative := strings.CutPrefix(text, "-")
	if !negative {
		body = strings.TrimPrefix(text, "+")
	}
	parts, err := split(strings.TrimSpace(body), want)
	if err != nil {
		return nil, "", err
	}
	value, err := sum(parts)
	if err != nil {
		return nil, "", err
	}
	if negative {
		value.Neg(value)
	}
	return value, parts[0].unit, bare(parts)
}

func bare(parts []part) error {
	if parts[0].unit == "" {
		return ErrNoUnit
	}
	return nil
}

func suggest(want Dimension) string {
	if example := examples[want]; example != "" {
		return fmt.Sprintf("; a %s is written like %s", want, example)
	}
	return ""
}

var hoursMinutes = regexp.MustCompile(`^([0-9]{1,5}):([0-5][0-9])(?::([0-5][0-9]))?$`)

// clockDuration reads 31:12 and 0:20:30 as hours, minutes and seconds; the value is in hours.
func clockDuration(text string) (*big.Rat, bool) {
	m := hoursMinutes.FindStringSubmatch(text)
	if m == nil {
		return nil, false
	}
	value := rat(m[1])
	value.Add(value, rat(m[2], "/60"))
	return value.Add(value, rat("0"+m[3], "/3600")), true
}

// A part is one number with its unit; "" when none is written.
type part struct {
	value *big.Rat
	unit  Unit
}

// split takes "1 lb 10 oz" apart. The whole rest is tried as a unit first, for units with digits in them.
func split(text string, want Dimension) ([]part, error) {
	var parts []part
	for {
		value, rest, err := scanNumber(text)
		if err != nil {
			return nil, fmt.Errorf("%w%s", err, suggest(want))
		}
		name, next := rest, ""
		if i := strings.IndexAny(rest, "0123456789"); i >= 0 && len(lookup(rest)) == 0 {
			name, next = rest[:i], rest[i:]
		}
		name = strings.TrimSpace(name)
		unit, err := resolve(name, want)
		if err != nil {
			return nil, err
		}
		parts = append(parts, part{value, unit})
		switch {
		case next == "":
			return parts, nil
		case name == "":
			return nil, errors.New("two numbers with no unit between them: leave out the separators of thousands")
		}
		want, text = unit.Dimension(), next
	}
}

// resolve picks the unit that a spelling means where want is asked for; no spelling is no unit.
func resolve(name string, want Dimension) (Unit, error) {
	if name == "" {
		return "", nil
	}
	all := lookup(name)
	fit := all
	if want != "" {
		fit = ofDimension(all, want)
	}
	switch {
	case len(fit) == 1:
		return fit[0], nil
	case len(all) == 0:
		return "", fmt.Errorf("unknown unit %q%s", name, suggest(want))
	case len(fit) == 0:
		return "", fmt.Errorf("%s is a unit of %s%s", name, all[0].Dimension(), suggest(want))
	}
	return "", fmt.Errorf("%q may mean %s", name, readings(fit))
}

func readings(fit []Unit) string {
	texts := make([]string, len(fit))
	for i, u := range fit {
		texts[i] = fmt.Sprintf("%s (%s)", u, u.Dimension())
	}
	return strings.Join(texts, " or ")
}

// additive lists the dimensions written in several units at once.
var additive = map[Dimension]bool{Mass: true, Volume: true, Length: true, Duration: true}

// sum adds the parts up in the unit of the first. Units must fall in size and only the last part may be broken:
// anything else is more likely a slip than a quantity.
func sum(parts []part) (*big.Rat, error) {
	first := byUnit[parts[0].unit]
	total := new(big.Rat).Set(parts[0].value)
	for i, p := range parts[1:] {
		before, this := byUnit[parts[i].unit], byUnit[p.unit]
		switch {
		case this.factor == nil:
			return nil, fmt.Errorf("the last number has no unit after %s", parts[i].unit)
		case !additive[this.dimension]:
			return nil, fmt.Errorf("a %s is written in one unit%s", this.dimension, suggest(this.dimension))
		case this.factor.Cmp(before.factor) >= 0:
			return nil, fmt.Errorf("%s after %s: the larger unit comes first, each once", p.unit, parts[i].unit)
		case !parts[i].value.IsInt():
			return nil, fmt.Errorf("a broken number of %s with more behind it", parts[i].unit)
		}
		share := new(big.Rat).Mul(p.value, this.factor)
		total.Add(total, share.Quo(share, first.factor))
	}
	return total, nil
}
