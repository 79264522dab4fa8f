package maintenance

import (
	"maps"
	"time"
)

// Told is the entry that told something, and when.
type Told struct {
	Entry string    `json:"entry"`
	At    time.Time `json:"at"`
}

// A Telling is which entry told each field of a declaration last, by the field's name.
type Telling map[string]Told

// with is the telling after an entry has told more fields. The receiver, which clones of the
// state share, stays as it is.
func (t Telling) with(e Entry, fields ...string) Telling {
	if len(fields) == 0 {
		return t
	}
	out := maps.Clone(t)
	if out == nil {
		out = Telling{}
	}
	for _, field := range fields {
		out[field] = Told{e.ID, e.At}
	}
	return out
}

// A numberField is a number of a declaration, and where it goes.
type numberField struct {
	name string
	to   **float64
	told *float64
}

// declare writes down the numbers that an entry tells, and which those are.
func declare(fields []numberField) (told []string) {
	for _, f := range fields {
		if f.told != nil {
			*f.to = f.told
			told = append(told, f.name)
		}
	}
	return told
}
