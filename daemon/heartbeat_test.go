package daemon

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
)

func TestHeartbeat(t *testing.T) {
	status, calls := http.StatusOK, 0
	elsewhere := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("followed to another host") }))
	defer elsewhere.Close()
	watcher := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		calls++
		require.Equal(t, http.MethodGet, r.Method)
		w.Header().Set("Location", elsewhere.URL)
		w.WriteHeader(status)
	}))
	defer watcher.Close()
	var said bytes.Buffer
	var sick error
	h := newHeartbeat(config.Heartbeat{URL: watcher.URL + "/secret-path", Every: time.Minute}, func(time.Time) error { return sick },
		func() time.Time { return day0 }, slog.New(slog.NewTextHandler(&said, nil)))
	last := func() error { h.once(t.Context()); return h.last.Load().err }

	require.NoError(t, last())
	require.Equal(t, 1, calls)
	for _, status = range []int{http.StatusFound, http.StatusNotFound, http.StatusInternalServerError} {
		require.ErrorContains(t, last(), http.StatusText(status))
	}
	status, sick = http.StatusOK, errors.New("the disk is full")
	before := calls
	require.ErrorIs(t, last(), sick)
	require.Equal(t, before, calls, "silence is the message")
	sick = nil
	require.NoError(t, last())
	watcher.Close()
	require.Error(t, last())
	require.NotContains(t, said.String()+h.last.Load().err.Error(), "secret-path")
	require.Contains(t, said.String(), "again=well")
	require.Nil(t, newHeartbeat(config.Heartbeat{}, nil, nil, nil), "nobody is called unless asked for")
}

// A daemon whose beat stands still, or whose book takes nothing, is not well.
func TestHeartbeatStopsWithTheWork(t *testing.T) {
	k, _ := newTestKeeper(t, config.Default())
	b := &Beat{}
	alive := k.isAlive(b)
	require.NoError(t, alive(day0), "it has just started")
	at := day0
	b.beaten.Store(&at)
	require.NoError(t, alive(day0.Add(beatMissing)))
	require.ErrorContains(t, alive(day0.Add(beatMissing+time.Second)), "nothing was looked at since")
	require.Empty(t, k.lookAtHeartbeat())

	k.heartbeat = newHeartbeat(config.Heartbeat{URL: "http://127.0.0.1:1/x", Every: time.Minute}, alive, k.clock, k.log)
	require.Equal(t, "ok", k.lookAtHeartbeat()[0].State)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	k.heartbeat.once(ctx)
	require.Equal(t, "bad", k.lookAtHeartbeat()[0].State)
}
