package notify

import (
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

func TestEveryReasonIsWorded(t *testing.T) {
	a := maintenance.Action{Why: []maintenance.Reason{
		{Rule: "settled_h", Value: 20, Limit: 24, Unit: "h"},
		{Rule: "unexplained", Value: 1, Unit: "1", Source: "the book: the sump holds 40 g more"},
		{Rule: "drain_cycles", Value: 2, Limit: 1, Unit: "cycles"},
		{Rule: "oil_c", Value: 57, Limit: 39, Unit: "C"},
	}}
	v := Voice{Amount: func(value float64, unit string) string { return strconv.Itoa(int(value)) + "<" + unit + ">" }}
	require.Equal(t, []string{
		ruleWords("settled_h") + ": 20<h>, limit 24<h>", "the sump holds 40 g more", "cycles since the change: 2<1>, limit 1<1>", "oil temperature: 57<C>, limit 39<C>",
	}, v.Reasons(a))
	require.Empty(t, v.Reasons(maintenance.Action{}))
}
