package units

import (
	"errors"
	"fmt"
	"math/big"
	"regexp"
	"strings"
)

var (
	fraction = regexp.MustCompile(`^(?:([0-9]{1,9})[ \x{a0}]+)?([0-9]{1,9})[ ]*[/⁄][ ]*([0-9]{1,9})`)
	decimal  = regexp.MustCompile(`^([0-9]*)(?:([.,])([0-9]*))?(?:[eE]([+-]?[0-9]{1,3})(?:[^0-9]|$))?`)
	vulgar   = strings.NewReplacer("½", " 1/2", "¼", " 1/4", "¾", " 3/4", "⅓", " 1/3", "⅔", " 2/3", "⅛", " 1/8", "⅜", " 3/8", "⅝", " 5/8", "⅞", " 7/8")
)

// scanNumber takes an unsigned number off the front of text: decimal with point or comma, with exponent,
// or a fraction such as 1/2 or 2 1/2. It gives what stands behind.
func scanNumber(text string) (*big.Rat, string, error) {
	if m := fraction.FindStringSubmatch(text); m != nil {
		value, err := ofFraction(m[1], m[2], m[3])
		return value, text[len(m[0]):], err
	}
	m := decimal.FindStringSubmatch(text)
	whole, point, part, exponent := m[1], m[2], m[3], m[4]
	if whole == "" && part == "" {
		return nil, text, errors.New("no number where one is expected")
	}
	if point == "," && len(part) == 3 && len(whole) <= 3 && whole != "" && whole[0] != '0' {
		return nil, text, fmt.Errorf("%s,%s may mean %s%s or %s.%s: write one of them", whole, part, whole, part, whole, part)
	}
	if len(whole)+len(part) > 40 {
		return nil, text, errors.New("too many digits")
	}
	length := len(whole) + len(point) + len(part)
	if exponent != "" {
		length += 1 + len(exponent)
		exponent = "e" + exponent
	}
	rest := text[length:]
	if strings.HasPrefix(rest, ".") || strings.HasPrefix(rest, ",") {
		return nil, text, errors.New("more than one point or comma in a number: leave out the separators of thousands")
	}
	value, ok := new(big.Rat).SetString("0" + whole + "." + part + "0" + exponent)
	if !ok {
		return nil, text, errors.New("the number cannot be read")
	}
	return value, rest, nil
}

func ofFraction(whole, over, under string) (*big.Rat, error) {
	denominator, _ := new(big.Rat).SetString(under)
	if denominator.Sign() == 0 {
		return nil, errors.New("a fraction over nothing")
	}
	value, _ := new(big.Rat).SetString(over)
	value.Quo(value, denominator)
	more, _ := new(big.Rat).SetString("0" + whole)
	return value.Add(value, more), nil
}
