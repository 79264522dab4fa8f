package main

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

func TestLinesOfAFile(t *testing.T) {
	const good = `{"kind":"note","note":"x"}`
	entries, lines, err := decodeLines(strings.NewReader(good + "\n\n" + good))
	require.NoError(t, err)
	require.Len(t, entries, 2)
	require.Equal(t, []int{1, 3}, lines)

	for text, want := range map[string]string{
		good + "\n\n{}":                                  "line 3: kind: the kind is missing",
		good + "\n" + good + good:                        "line 2: something stands after the entry",
		strings.Repeat(" ", maintenance.MaxLine+3) + "x": "line 1: the entry is too long",
	} {
		_, _, err := decodeLines(strings.NewReader(text))
		require.EqualError(t, err, want)
	}
}

func TestRequestNumbersBecomeLines(t *testing.T) {
	for told, want := range map[int]int{0: 4, 1: 4, 2: 7, 9: 7} {
		r := &maintenance.Rejection{Line: told}
		require.Same(t, r, inFile(r, []int{4, 7}))
		require.Equal(t, want, r.Line)
	}
}

func FuzzLines(f *testing.F) {
	f.Add(`{"kind":"note","note":"x"}` + "\n" + `{"kind":"start","pump":"north"}`)
	f.Add("\r\n{\"kind\"")
	f.Fuzz(func(t *testing.T, text string) {
		entries, lines, err := decodeLines(strings.NewReader(text))
		if err != nil {
			var r *maintenance.Rejection
			require.True(t, errors.As(err, &r), "%T", err)
			require.Positive(t, r.Line)
			return
		}
		require.Len(t, lines, len(entries))
		var again strings.Builder
		for _, e := range entries {
			again.Write(append(maintenance.Encode(e), '\n'))
		}
		same, _, err := decodeLines(strings.NewReader(again.String()))
		require.NoError(t, err)
		require.Len(t, same, len(entries))
		for i := range same {
			require.Equal(t, maintenance.Content(entries[i]), maintenance.Content(same[i]))
		}
	})
}
