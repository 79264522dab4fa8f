package daemon

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What a person typed comes back as typed, whatever an address makes of it.
func TestAClientAsksForNamesAsTheyAreTyped(t *testing.T) {
	c, err := Connect(t.Context(), Settings{Data: t.TempDir()})
	require.NoError(t, err)
	defer func() { require.NoError(t, c.Close()) }()
	for _, name := range []string{"my pump", "a/b", "50%25", "é?x=1#y"} {
		_, err = c.Audit(t.Context(), name, Moment{})
		require.ErrorContains(t, err, `no pump named "`+name+`"`)
		_, err = c.WhyNot(t.Context(), name, Moment{})
		require.ErrorContains(t, err, `"`+name+`" is no kind of action`)
	}
}
