package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"
	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/notify"
)

func TestReadReply(t *testing.T) {
	for name, c := range map[string]struct {
		payload, token string
		grams          *float64
	}{
		"Token":     {`{"token":"AQ-_"}`, "AQ-_", nil},
		"Amount":    {` {"grams":640.5,"token":"AQ"} `, "AQ", new(640.5)},
		"Null":      {`{"token":"AQ","grams":null}`, "AQ", nil},
		"Empty":     {``, "", nil},
		"NoToken":   {`{"grams":640}`, "", nil},
		"NoneInIt":  {`{"token":""}`, "", nil},
		"Bare":      {`AQ`, "", nil},
		"Text":      {`"AQ"`, "", nil},
		"Number":    {`{"token":12}`, "", nil},
		"GramsText": {`{"token":"AQ","grams":"640"}`, "", nil},
		"Unknown":   {`{"token":"AQ","ml":640}`, "", nil},
		"OtherCase": {`{"Token":"AQ"}`, "", nil},
		"Twice":     {`{"token":"AQ","token":"AB"}`, "", nil},
		"Two":       {`{"token":"AQ"}{"token":"AB"}`, "", nil},
		"Infinite":  {`{"token":"AQ","grams":1e999}`, "", nil},
		"NoText":    {"{\"token\":\"\xff\"}", "", nil},
		"Long":      {`{"token":"` + strings.Repeat("A", maxReply) + `"}`, "", nil},
	} {
		t.Run(name, func(t *testing.T) {
			token, f, err := readReply([]byte(c.payload))
			require.Equal(t, c.token == "", err != nil)
			require.Equal(t, c.token, token)
			require.Equal(t, c.grams, f.Grams)
			if err != nil {
				require.NotContains(t, err.Error(), "AQ", "what may be a token is not repeated")
			}
		})
	}
}

func FuzzReadReply(f *testing.F) {
	f.Add([]byte(`{"token":"AQ","grams":640.5}`))
	f.Add([]byte(`{"token":"AQ"}`))
	f.Fuzz(func(t *testing.T, payload []byte) {
		token, fields, err := readReply(payload)
		if err != nil {
			require.Empty(t, token)
			return
		}
		b, err := json.Marshal(map[string]any{"token": token, "grams": fields.Grams})
		require.NoError(t, err)
		again, same, err := readReply(b)
		if len(b) <= maxReply {
			require.NoError(t, err)
			require.Equal(t, token, again)
			require.Equal(t, fields, same)
		}
	})
}

// A remote is a person's phone at the broker.
type remote struct {
	t  *testing.T
	cm *autopaho.ConnectionManager
	in chan *paho.Publish
}

const replyTo = "shed/north/answers"

func newRemote(t *testing.T, broker string) *remote {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	t.Cleanup(cancel)
	r := &remote{t: t, in: make(chan *paho.Publish, 100)}
	var err error
	r.cm, err = autopaho.NewConnection(ctx, autopaho.ClientConfig{
		ServerUrls: mustURL(t, "mqtt://"+broker), KeepAlive: 30, CleanStartOnInitialConnection: true,
		ClientConfig: paho.ClientConfig{ClientID: "remote", OnPublishReceived: []func(paho.PublishReceived) (bool, error){
			func(p paho.PublishReceived) (bool, error) { r.in <- p.Packet; return true, nil },
		}},
	})
	require.NoError(t, err)
	require.NoError(t, r.cm.AwaitConnection(ctx))
	_, err = r.cm.Subscribe(ctx, &paho.Subscribe{Subscriptions: []paho.SubscribeOptions{{Topic: replyTo + "/said", QoS: 1}}})
	require.NoError(t, err)
	return r
}

func (r *remote) send(payload string, retain bool) {
	r.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	_, err := r.cm.Publish(ctx, &paho.Publish{Topic: replyTo, QoS: 1, Retain: retain, Payload: []byte(payload), Properties: &paho.PublishProperties{CorrelationData: []byte("c1")}})
	require.NoError(r.t, err)
}

// said waits for the next thing that is said.
func (r *remote) said() (told replied) {
	r.t.Helper()
	for {
		select {
		case p := <-r.in:
			if p.Topic != replyTo+"/said" {
				continue // a reminder
			}
			require.NoError(r.t, json.Unmarshal(p.Payload, &told))
			require.Equal(r.t, "c1", string(p.Properties.CorrelationData))
			require.Equal(r.t, "application/json", p.Properties.ContentType)
			return told
		case <-time.After(20 * time.Second):
			require.FailNow(r.t, "nothing was said")
		}
	}
}

func (r *remote) ask(payload string) replied {
	r.t.Helper()
	r.send(payload, false)
	return r.said()
}

// listening runs a replier until stop is called, and goes on when it hears.
func (d *doorstep) listening(broker string) (l *replier, stop func()) {
	d.t.Helper()
	d.k.settings.Config.Channels = []config.Channel{{Name: "phone", Type: "mqtt", Broker: "mqtt://" + broker, Topic: "shed/reminders", Replies: replyTo}, {Name: "bell"}}
	all := d.k.repliersOf()
	require.Len(d.t, all, 1)
	l = all[0]
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- l.run(ctx) }()
	stop = func() { cancel(); require.NoError(d.t, <-ended) }
	require.Eventually(d.t, l.up.Load, 20*time.Second, 10*time.Millisecond)
	return l, stop
}

func TestRepliesByMQTT(t *testing.T) {
	t.Parallel()
	broker := startBroker(t)
	d := newDoorstep(t)
	phone := newRemote(t, broker)
	token := d.token(notify.ReplyDone, "phone")
	reply := func(token string) string { return fmt.Sprintf(`{"token":%q}`, token) }
	phone.send(reply(d.token(notify.ReplySkip, "phone")), true) // retained, from before
	l, stop := d.listening(broker)

	saved := replied{true, "Saved " + d.now.Format("15:04") + ": north drained into jar-1, 590\u00a0g"}
	require.Equal(t, replied{false, "Not saved: amount: an amount is more than nothing. Write what was moved, like 640."}, phone.ask(fmt.Sprintf(`{"token":%q,"grams":-3}`, token)))
	require.Equal(t, saved, phone.ask(fmt.Sprintf(`{"token":%q,"grams":590}`, token)))
	require.Equal(t, saved, phone.ask(fmt.Sprintf(`{"token":%q,"grams":590}`, token)), "told twice, saved once")
	require.Equal(t, saved, phone.ask(reply(token)))
	require.Equal(t, replied{false, "Not saved: this was answered before, with other values."}, phone.ask(fmt.Sprintf(`{"token":%q,"grams":400}`, token)))

	told := phone.ask(reply(d.token(notify.ReplyDone, "mail")))
	require.False(t, told.OK)
	require.Contains(t, told.Said, "Answered already: north drained into jar-1, 590\u00a0g")
	require.Contains(t, phone.ask(reply(token[:len(token)-1])).Said, "not one of this book")
	require.Contains(t, phone.ask(`{"token":"x","more":1}`).Said, `send {"token":"…","grams":NUMBER?}`)
	old := d.k.signer.Sign(notify.Token{Key: notify.Key{Action: drainID, Channel: "phone"}, Reply: notify.ReplyHour, Expires: *d.now})
	require.Contains(t, phone.ask(reply(old)).Said, "This link was good until")
	stop()

	phone.send(reply(d.token(notify.ReplySeen, "mail")), false) // while nobody is there
	*d.now = d.now.Add(time.Minute)
	_, stop = d.listening(broker)
	told = phone.said()
	require.Contains(t, told.Said, "Answered already", "the broker has kept it")
	stop()
	require.Empty(t, phone.in, "nothing more was said: the retained one counts for nothing")
	notices, entries := answers(t, d.k)
	require.Len(t, notices, 1)
	require.Len(t, entries, 1)
	require.Equal(t, "phone", entries[0].By)
	require.Positive(t, l.refuse.Load())
	require.NotContains(t, d.log.String(), token)
}

// A reply that comes marked as retained is nothing that somebody does now; what cannot be
// told, because too much waits, is dropped; what is ours is said without its details.
func TestTakingReplies(t *testing.T) {
	answered := 0
	l := &replier{src: config.Channel{Replies: replyTo}, log: slog.New(slog.DiscardHandler), said: make(chan *paho.Publish, 2),
		answer: func(context.Context, string, Fields) (string, error) {
			answered++
			return "It went wrong.", errors.New("/secret/")
		}}
	p := &paho.Publish{Payload: []byte(`{"token":"AQ"}`), Retain: true}
	l.take(t.Context(), p)
	require.Zero(t, answered)
	p.Retain = false
	for range 5 {
		l.take(t.Context(), p)
	}
	require.Equal(t, 5, answered)
	require.Len(t, l.said, 2)
	require.JSONEq(t, `{"ok":false,"said":"It went wrong."}`, string((<-l.said).Payload))
}

// With no port open to anybody: the reminder goes out by MQTT, and its answer comes back so.
func TestAReminderIsAnsweredByMQTT(t *testing.T) {
	t.Parallel()
	broker := startBroker(t)
	phone := newRemote(t, broker)
	_, err := phone.cm.Subscribe(t.Context(), &paho.Subscribe{Subscriptions: []paho.SubscribeOptions{{Topic: "shed/reminders", QoS: 1}}})
	require.NoError(t, err)
	s := quickSettings(t.TempDir())
	s.Log = slog.New(slog.DiscardHandler)
	s.Config.Channels = []config.Channel{{Name: "phone", Type: "mqtt", Broker: "mqtt://" + broker, Topic: "shed/reminders", Replies: replyTo}}
	stopped(t, s.Data)
	serving(t, s)
	c, err := Connect(t.Context(), s)
	require.NoError(t, err)
	require.Eventually(t, func() bool {
		findings, err := c.Doctor(t.Context())
		require.NoError(t, err)
		return slices.Contains(findings, Finding{What: "replies phone", State: "ok", Says: "subscribed to " + replyTo})
	}, 20*time.Second, 50*time.Millisecond)

	var m struct {
		Action struct {
			ID string `json:"id"`
		} `json:"action"`
		Links map[string]string `json:"links"`
	}
	for m.Action.ID != drainID {
		select {
		case p := <-phone.in:
			require.NoError(t, json.Unmarshal(p.Payload, &m))
		case <-time.After(20 * time.Second):
			require.FailNow(t, "no reminder")
		}
	}
	done := m.Links["done"]
	told := phone.ask(fmt.Sprintf(`{"token":%q,"grams":600}`, done[strings.LastIndex(done, "/")+1:]))
	require.True(t, told.OK, told.Said)
	require.Contains(t, told.Said, "north drained into jar-1, 600")
}
