package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"sync/atomic"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"
	"github.com/go-json-experiment/json"

	"sumpbook/config"
)

// Bounds of the replies by MQTT.
const (
	maxReply    = 4 << 10   // bytes of one
	repliesKept = 24 * 3600 // seconds for which the broker keeps replies while the daemon is away
	saidWaiting = 64        // answers on their way out; more are not said
	saidWithin  = 10 * time.Second
)

// A replier hears on one topic of a broker how reminders are answered, and says on the topic
// below it what was saved: so that no port of this machine need be open. The broker's
// acknowledgement goes out after the answer is on disk. What it hears twice it saves once.
type replier struct {
	src    config.Channel
	client string // id at the broker, by which that keeps what comes while the daemon is away
	answer func(ctx context.Context, token string, f Fields) (said string, err error)
	log    *slog.Logger
	said   chan *paho.Publish
	up     atomic.Bool
	refuse atomic.Int64 // replies that answered nothing
}

// repliersOf are those of the channels that take replies.
func (k *Keeper) repliersOf() (all []*replier) {
	for _, ch := range k.settings.Config.Channels {
		if ch.Replies != "" {
			all = append(all, &replier{
				src: ch, client: "sumpbook-replies-" + k.signer.Name() + "-" + ch.Name, answer: k.Answer,
				log: k.log.With("channel", ch.Name), said: make(chan *paho.Publish, saidWaiting),
			})
		}
	}
	return all
}

// run listens until ctx ends, connecting again for as long as it takes.
func (l *replier) run(ctx context.Context) error {
	broker, err := url.Parse(l.src.Broker)
	if err != nil {
		return fmt.Errorf("replies of %s: %w", l.src.Name, err)
	}
	cm, err := autopaho.NewConnection(ctx, autopaho.ClientConfig{
		ServerUrls: []*url.URL{broker}, KeepAlive: 30, SessionExpiryInterval: repliesKept, ConnectTimeout: 10 * time.Second,
		ReconnectBackoff: reconnectAfter,
		OnConnectionUp:   func(cm *autopaho.ConnectionManager, _ *paho.Connack) { go l.subscribe(ctx, cm) },
		OnConnectionDown: func() bool { l.heard(false, "connection lost"); return true },
		OnConnectError:   func(err error) { l.heard(false, err.Error()) },
		ConnectUsername:  l.src.Username, ConnectPassword: []byte(l.src.Password.Reveal()),
		ClientConfig: paho.ClientConfig{ClientID: l.client, OnPublishReceived: []func(paho.PublishReceived) (bool, error){
			func(p paho.PublishReceived) (bool, error) { l.take(ctx, p.Packet); return true, nil },
		}},
	})
	if err != nil {
		return fmt.Errorf("replies of %s: connect: %w", l.src.Name, err)
	}
	for {
		select {
		case <-cm.Done():
			return nil
		case p := <-l.said: // not where replies are taken: that is where the broker's answers are read
			l.publish(ctx, cm, p)
		}
	}
}

func (l *replier) publish(ctx context.Context, cm *autopaho.ConnectionManager, p *paho.Publish) {
	ctx, cancel := context.WithTimeout(ctx, saidWithin)
	defer cancel()
	if _, err := cm.Publish(ctx, p); err != nil {
		l.log.Warn("reply answered, and nobody told", "error", err)
	}
}

func (l *replier) subscribe(ctx context.Context, cm *autopaho.ConnectionManager) {
	const noRetained = 2 // MQTT 5.0, section 3.8.3.1: none are sent for a subscription
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	subs := []paho.SubscribeOptions{{Topic: l.src.Replies, QoS: 1, RetainHandling: noRetained, RetainAsPublished: true}}
	if _, err := cm.Subscribe(ctx, &paho.Subscribe{Subscriptions: subs}); err != nil {
		l.heard(false, "subscribe: "+err.Error())
		return
	}
	l.heard(true, "subscribed to "+l.src.Replies)
}

func (l *replier) heard(up bool, why string) {
	if l.up.Swap(up) != up {
		l.log.Info("replies", "connected", up, "why", why)
	}
}

// A replied is what is said of a reply.
type replied struct {
	OK   bool   `json:"ok"`
	Said string `json:"said"`
}

// take answers one reply. A retained one is no event: somebody may have sent it long ago.
func (l *replier) take(ctx context.Context, p *paho.Publish) {
	if p.Retain {
		return
	}
	var said string
	token, fields, err := readReply(p.Payload)
	if err != nil {
		said = "Not saved: " + err.Error() + "."
	} else {
		said, err = l.answer(ctx, token, fields)
	}
	if err != nil {
		if n := l.refuse.Add(1); n&(n-1) == 0 { // 1, 2, 4, 8, …: a flood of them is one line
			l.log.Warn("reply that answers nothing", "count", n, "because", said)
		}
	}
	l.tell(replied{OK: err == nil, Said: said}, p.Properties)
}

// tell hands over what is to be said, under the correlation data that the reply came with.
func (l *replier) tell(told replied, came *paho.PublishProperties) {
	body, err := json.Marshal(told)
	if err != nil {
		l.log.Error("what to say of a reply", "error", err)
		return
	}
	p := &paho.Publish{QoS: 1, Topic: l.src.Replies + "/said", Payload: body, Properties: &paho.PublishProperties{ContentType: "application/json"}}
	if came != nil {
		p.Properties.CorrelationData = came.CorrelationData
	}
	select {
	case l.said <- p:
	default:
		l.log.Warn("reply answered, and nobody told", "error", "too many at once")
	}
}

const wantReply = `send {"token":"…","grams":NUMBER?}, the token being what follows /a/ in the reminder's link`

// readReply reads {"token":"…","grams":640?}, strictly.
func readReply(payload []byte) (token string, f Fields, err error) {
	var told struct {
		Token string   `json:"token"`
		Grams *float64 `json:"grams"`
	}
	if len(payload) > maxReply {
		return "", f, fmt.Errorf("a reply has at most %d bytes", maxReply)
	}
	if json.Unmarshal(payload, &told, json.RejectUnknownMembers(true)) != nil || told.Token == "" {
		return "", f, errors.New("this is no reply; " + wantReply) // without what it holds: that may be a token
	}
	return told.Token, Fields{Grams: told.Grams}, nil
}
