package notify

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

// No send leaves anything running once the other end is gone, whatever that did.
func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// A handshake goes on when the send that began it has ended: it needs an end of its own.
func TestHandshakesEndByThemselves(t *testing.T) {
	push, _ := newWebPush(t, nil)
	for _, client := range []*http.Client{webhookClient(), push.client} {
		require.Equal(t, webhookTimeout, client.Transport.(*http.Transport).TLSHandshakeTimeout)
	}
}
