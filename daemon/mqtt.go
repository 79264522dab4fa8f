package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net/url"
	"sync/atomic"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"

	"sumpbook/config"
	"sumpbook/maintenance/signal"
)

// A listener hears one MQTT source. The broker's acknowledgement goes out after the sensor
// has taken the sample, so a crash in between only brings it again.
type listener struct {
	src    config.Source
	sensor *Sensor
	value  signal.Field
	on     *signal.Field
	zone   *time.Location
	clock  func() time.Time
	log    *slog.Logger
	up     atomic.Bool
	refuse atomic.Int64 // payloads that held no reading
}

func newListener(src config.Source, zone *time.Location, sensor *Sensor, clock func() time.Time, log *slog.Logger) *listener {
	l := &listener{src: src, sensor: sensor, zone: zone, clock: clock, log: log.With("source", src.Pump)}
	if src.Zone != nil {
		l.zone = src.Zone
	}
	comma := src.Decimal == "comma"
	switched := &signal.Field{On: src.OnValues, Off: src.OffValues}
	if src.On != nil {
		switched.Pointer = *src.On
	}
	scale, offset := inBase(src)
	switch {
	case src.Power != nil:
		l.value = signal.Field{Pointer: *src.Power, Scale: scale, Offset: offset, DecimalComma: comma}
		if src.On != nil {
			l.on = switched
		}
	case src.Temp != nil:
		l.value = signal.Field{Pointer: *src.Temp, Scale: scale, Offset: offset, DecimalComma: comma}
	default:
		l.value = *switched
	}
	return l
}

// inBase turns the source's scale and offset, in its unit, into W or °C.
func inBase(src config.Source) (scale, offset float64) {
	scale, offset = src.Scale, src.Offset
	if scale == 0 {
		scale = 1
	}
	switch src.Unit {
	case "mW":
		return scale / 1000, offset / 1000
	case "kW":
		return scale * 1000, offset * 1000
	case "F":
		return scale / 1.8, (offset - 32) / 1.8
	case "K":
		return scale, offset - 273.15
	}
	return scale, offset
}

// run listens until ctx ends, connecting again for as long as it takes.
func (l *listener) run(ctx context.Context) error {
	broker, err := url.Parse(l.src.Broker)
	if err != nil {
		return fmt.Errorf("source %s: %w", l.src.Pump, err)
	}
	cm, err := autopaho.NewConnection(ctx, l.clientConfig(ctx, broker))
	if err != nil {
		return fmt.Errorf("source %s: connect: %w", l.src.Pump, err)
	}
	<-cm.Done()
	return nil
}

func (l *listener) clientConfig(ctx context.Context, broker *url.URL) autopaho.ClientConfig {
	c := autopaho.ClientConfig{
		ServerUrls: []*url.URL{broker}, KeepAlive: 30, CleanStartOnInitialConnection: true, ConnectTimeout: 10 * time.Second,
		ReconnectBackoff: reconnectAfter,
		OnConnectionUp:   func(cm *autopaho.ConnectionManager, _ *paho.Connack) { go l.subscribe(ctx, cm) },
		OnConnectionDown: func() bool { l.heard(false, "connection lost"); return true },
		OnConnectError:   func(err error) { l.heard(false, err.Error()) },
		ConnectUsername:  l.src.Username, ConnectPassword: []byte(l.src.Password.Reveal()),
		ClientConfig: paho.ClientConfig{
			ClientID:          l.src.ClientID,
			OnPublishReceived: []func(paho.PublishReceived) (bool, error){l.received(ctx)},
		},
	}
	if c.ClientID == "" {
		c.ClientID = fmt.Sprintf("sumpbook-%s-%08x", l.src.Pump, rand.Uint32())
	}
	return c
}

// reconnectAfter waits 1 s, doubling to 60 s, with jitter so that a house full of clients
// does not come back at once.
func reconnectAfter(attempt int) time.Duration {
	wait := time.Second << min(max(attempt, 0), 6)
	return min(wait, time.Minute)/2 + rand.N(min(wait, time.Minute)/2)
}

func (l *listener) heard(up bool, why string) {
	if l.up.Swap(up) != up {
		l.log.Info("broker", "connected", up, "why", why)
	}
}

func (l *listener) subscribe(ctx context.Context, cm *autopaho.ConnectionManager) {
	// Retained messages are sent once on a new subscription, marked: never an edge.
	subs := []paho.SubscribeOptions{{Topic: l.src.Topic, QoS: 1, RetainAsPublished: false}}
	if l.src.Availability.Topic != "" {
		subs = append(subs, paho.SubscribeOptions{Topic: l.src.Availability.Topic, QoS: 1})
	}
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	if _, err := cm.Subscribe(ctx, &paho.Subscribe{Subscriptions: subs}); err != nil {
		l.heard(false, "subscribe: "+err.Error())
		return
	}
	l.heard(true, "subscribed to "+l.src.Topic)
}

func (l *listener) received(ctx context.Context) func(paho.PublishReceived) (bool, error) {
	return func(p paho.PublishReceived) (bool, error) {
		if l.src.Availability.Topic != "" && p.Packet.Topic == l.src.Availability.Topic {
			l.available(ctx, string(p.Packet.Payload))
			return true, nil
		}
		if err := l.take(ctx, p.Packet.Payload, p.Packet.Retain); err != nil {
			l.log.Error("sample not taken", "error", err)
		}
		return true, nil
	}
}

// available hears that the source is there: a meter that reports only changes may be silent
// and well, so its last value holds on.
func (l *listener) available(ctx context.Context, says string) {
	st := l.sensor.State()
	if says != l.src.Availability.On || st.Last.IsZero() || l.src.Time != nil {
		return
	}
	now := l.clock()
	if err := l.sensor.Take(ctx, now, []signal.Sample{{At: now, Arrived: now, Value: st.Held}}); err != nil {
		l.log.Error("sample not taken", "error", err)
	}
}

// take reads one payload. One that holds no reading is counted, and said once in a while.
func (l *listener) take(ctx context.Context, payload []byte, retained bool) error {
	now := l.clock()
	s, err := l.sample(payload, now)
	if err != nil {
		if n := l.refuse.Add(1); n&(n-1) == 0 { // 1, 2, 4, 8, …: a flood of them is one line
			l.log.Warn("payload without a reading", "count", n, "error", err)
		}
		return nil
	}
	s.Retained = retained
	return l.sensor.Take(ctx, now, []signal.Sample{s})
}

func (l *listener) sample(payload []byte, now time.Time) (signal.Sample, error) {
	value, err := l.value.Value(payload)
	if err != nil {
		return signal.Sample{}, err
	}
	if l.on != nil {
		on, err := l.on.Value(payload)
		if err != nil {
			return signal.Sample{}, err
		}
		if on == 0 {
			value = 0 // a plug that is switched off keeps showing its last power
		}
	}
	at := now
	if l.src.Time != nil {
		if at, err = signal.Moment(payload, *l.src.Time, l.zone); err != nil {
			return signal.Sample{}, err
		}
	}
	return signal.NewSample(at, now, value)
}
