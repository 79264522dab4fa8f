package notify

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"
)

const (
	mqttTimeout  = 20 * time.Second
	packetWithin = 10 * time.Second // for each answer of the broker
)

// An MQTTBroker says where reminders are published, and as whom.
type MQTTBroker struct {
	Address            string // scheme://host:port; tcp, mqtt and ws in the clear, tls, ssl, mqtts and wss protected
	Topic              string
	ClientID           string         // empty: one is made
	Username, Password string         // both empty: no login
	Roots              *x509.CertPool // nil: the machine's
}

// An MQTT publishes each reminder as JSON, the body of a webhook, on one topic of an MQTT 5
// broker: at least once, not retained.
type MQTT struct {
	name    string
	broker  MQTTBroker
	address *url.URL
	hidden  secrets
}

var mqttSchemes = []string{"tcp", "mqtt", "ws", "tls", "ssl", "mqtts", "wss"}

// NewMQTT checks the address and the topic; it connects to nobody.
func NewMQTT(name string, b MQTTBroker) (*MQTT, error) {
	u, err := url.Parse(b.Address)
	if err != nil || u.Host == "" || u.User != nil || !slices.Contains(mqttSchemes, u.Scheme) {
		return nil, fmt.Errorf("channel %s: broker is not scheme://host:port, with a scheme of %s", name, strings.Join(mqttSchemes, ", "))
	}
	if b.Topic == "" || strings.ContainsAny(b.Topic, "+#\x00") {
		return nil, fmt.Errorf("channel %s: topic is not one topic in full", name)
	}
	if b.ClientID == "" {
		b.ClientID = "sumpbook-" + name + "-" + rand.Text()[:8]
	}
	return &MQTT{name: name, broker: b, address: u, hidden: secrets{b.Password}}, nil
}

// Name is the channel's name in the configuration.
func (q *MQTT) Name() string { return q.name }

// Send publishes the message and waits until the broker has taken it. That nobody listens
// is the broker's yes. A refusal of the login, the topic or the message ends the tries. It
// connects anew each time: reminders are rare, and the retries are the outbox's.
func (q *MQTT) Send(ctx context.Context, m Message) (string, error) {
	body, err := m.forMachines()
	if err != nil {
		return "", err
	}
	ctx, cancel := context.WithTimeout(ctx, mqttTimeout)
	defer cancel()
	said, err := q.publish(ctx, body)
	if err == nil {
		return said, nil
	}
	told := fmt.Errorf("publish to %s: %s", q.address.Host, q.hidden.cut(err.Error()))
	if no, ok := errors.AsType[refusal](err); ok && no.forGood() {
		return "", fmt.Errorf("%w: %w", told, ErrPermanent)
	}
	return "", told
}

// publish lets the first thing that goes wrong end the context, and gives that: what the
// library reports of the publishing itself is only that it was ended.
func (q *MQTT) publish(ctx context.Context, body []byte) (string, error) {
	ctx, stop := context.WithCancelCause(ctx)
	up := make(chan *paho.Connack, 1)
	cm, err := autopaho.NewConnection(ctx, q.options(stop, up))
	if err != nil {
		stop(nil)
		return "", err
	}
	defer func() { stop(nil); <-cm.Done() }()
	select {
	case <-ctx.Done():
		return "", context.Cause(ctx)
	case ack := <-up:
		if p := ack.Properties; p != nil && p.MaximumPacketSize != nil && len(body)+len(q.broker.Topic)+packetHead > int(*p.MaximumPacketSize) {
			return "", refusal{packetTooLarge, fmt.Sprintf("it takes %d bytes at most", *p.MaximumPacketSize)}
		}
	}
	answer, err := cm.Publish(ctx, &paho.Publish{QoS: 1, Topic: q.broker.Topic, Payload: body, Properties: &paho.PublishProperties{
		ContentType: "application/json", PayloadFormat: new(byte(1)), // 1: UTF-8
	}})
	return verdict(ctx, answer, err)
}

func verdict(ctx context.Context, answer *paho.PublishResponse, err error) (string, error) {
	switch {
	case answer != nil && answer.ReasonCode >= firstRefusal:
		return "", refusal{answer.ReasonCode, reasonIn(answer)}
	case errors.Is(err, paho.ErrInvalidArguments):
		return "", refusal{qosNotSupported, ""} // nothing else in it can be invalid
	case errors.Is(err, context.DeadlineExceeded):
		return "", err
	case err != nil: // the connection has ended: who ended it says why, now or in a moment
		<-ctx.Done()
		return "", context.Cause(ctx)
	case answer.ReasonCode == noSubscribers:
		return "taken; nobody is subscribed to the topic now", nil
	}
	return "taken", nil
}

func reasonIn(answer *paho.PublishResponse) string {
	if answer.Properties == nil {
		return ""
	}
	return answer.Properties.ReasonString
}

func (q *MQTT) options(stop context.CancelCauseFunc, up chan<- *paho.Connack) autopaho.ClientConfig {
	return autopaho.ClientConfig{
		ServerUrls: []*url.URL{q.address}, KeepAlive: 30, CleanStartOnInitialConnection: true, ConnectTimeout: packetWithin,
		ConnectUsername: q.broker.Username, ConnectPassword: []byte(q.broker.Password),
		TlsCfg:           &tls.Config{RootCAs: q.broker.Roots, MinVersion: tls.VersionTLS12, ServerName: q.address.Hostname()},
		OnConnectionUp:   func(_ *autopaho.ConnectionManager, ack *paho.Connack) { up <- ack },
		OnConnectionDown: func() bool { return false },
		OnConnectError:   func(err error) { stop(plainRefusal(err)) },
		ReconnectBackoff: func(int) time.Duration { return 0 }, // before the first: the first error ends it
		ClientConfig: paho.ClientConfig{
			ClientID: q.broker.ClientID, PacketTimeout: packetWithin,
			OnClientError: stop,
			OnServerDisconnect: func(d *paho.Disconnect) {
				no := refusal{code: d.ReasonCode}
				if d.Properties != nil {
					no.reason = d.Properties.ReasonString
				}
				stop(no)
			},
		},
	}
}

func plainRefusal(err error) error {
	if no, ok := errors.AsType[*autopaho.ConnackError](err); ok {
		return refusal{no.ReasonCode, no.Reason}
	}
	return err
}

// Reason codes of MQTT 5.0 (OASIS Standard, 2019-03-07), section 2.4.
const (
	noSubscribers   = 0x10
	firstRefusal    = 0x80
	packetTooLarge  = 0x95
	qosNotSupported = 0x9b
	packetHead      = 64 // bytes around topic and payload, at most
)

// A refusal is a broker's no.
type refusal struct {
	code   byte
	reason string // in the broker's words; may be empty
}

// lasting are the refusals that trying again does not heal.
var lasting = map[byte]string{
	0x81: "malformed packet", 0x82: "protocol error", 0x84: "unsupported protocol version", 0x85: "client identifier not valid",
	0x86: "bad user name or password", 0x87: "not authorized", 0x8a: "banned", 0x8c: "bad authentication method",
	0x90: "topic name invalid", packetTooLarge: "packet too large", 0x99: "payload format invalid", qosNotSupported: "QoS not supported",
	0x9d: "server moved",
}

func (r refusal) forGood() bool { return lasting[r.code] != "" }

func (r refusal) Error() string {
	words := strings.Join(slices.DeleteFunc([]string{lasting[r.code], r.reason}, func(s string) bool { return s == "" }), ": ")
	if words == "" {
		words = "no reason given"
	}
	return fmt.Sprintf("the broker answered %d, %s", r.code, words)
}
