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
	power  *signal.Field // these three: nil if it does not tell it
	temp   *signal.Field
	on     *signal.Field
	zone   *time.Location
	clock  func() time.Time
	log    *slog.Logger
	up     atomic.Bool
	online atomic.Bool  // its availability says that it is there
	refuse atomic.Int64 // payloads that held no reading
	failed atomic.Int64 // readings that the book could not keep
}

func newListener(src config.Source, zone *time.Location, sensor *Sensor, clock func() time.Time, log *slog.Logger) *listener {
	l := &listener{src: src, sensor: sensor, zone: zone, clock: clock, log: log.With("source", src.Pump)}
	if src.Zone != nil {
		l.zone = src.Zone
	}
	comma := src.Decimal == "comma"
	scale, offset := inBase(src)
	if src.On != nil {
		l.on = &signal.Field{Pointer: *src.On, On: src.OnValues, Off: src.OffValues}
	}
	if src.Power != nil {
		l.power = &signal.Field{Pointer: *src.Power, Scale: scale, Offset: offset, DecimalComma: comma}
		scale, offset = 1, 0 // the unit is that of the power
	}
	if src.Temp != nil {
		l.temp = &signal.Field{Pointer: *src.Temp, Scale: scale, Offset: offset, DecimalComma: comma}
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
	often := time.NewTicker(time.Minute)
	defer often.Stop()
	for {
		select {
		case <-cm.Done():
			return nil
		case <-often.C:
			l.hold(ctx)
		}
	}
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
	if !up {
		l.online.Store(false)
	}
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
			l.online.Store(string(p.Packet.Payload) == l.src.Availability.On)
			l.hold(ctx)
			return true, nil
		}
		l.take(ctx, p.Packet.Payload, p.Packet.Retain)
		return true, nil
	}
}

// hold lets the last value of a source that is there hold on: a meter that reports only
// changes may be silent and well. One that tells its own time cannot be spoken for.
func (l *listener) hold(ctx context.Context) {
	if l.online.Load() && l.src.Time == nil {
		l.kept(l.sensor.Hold(ctx, l.clock()))
	}
}

// take reads one payload. One that holds no reading is counted, and said once in a while.
func (l *listener) take(ctx context.Context, payload []byte, retained bool) {
	now := l.clock()
	r, err := l.reading(payload, now)
	if err != nil {
		if n := l.refuse.Add(1); n&(n-1) == 0 { // 1, 2, 4, 8, …: a flood of them is one line
			l.log.Warn("payload without a reading", "count", n, "error", err)
		}
		return
	}
	r.Retained = retained
	l.kept(l.sensor.Take(ctx, now, []Reading{r}))
}

func (l *listener) kept(err error) {
	if err == nil {
		l.failed.Store(0)
	} else if n := l.failed.Add(1); n&(n-1) == 0 {
		l.log.Error("reading not kept", "count", n, "error", err)
	}
}

func (l *listener) reading(payload []byte, now time.Time) (r Reading, err error) {
	r = Reading{At: now, Arrived: now}
	if r.Power, err = l.drive(payload); err != nil {
		return r, err
	}
	if l.temp != nil {
		c, err := l.temp.Value(payload)
		switch {
		case err == nil:
			r.TempC = &c
		case r.Power == nil: // beside power it may be there now and then
			return r, err
		}
	}
	if l.src.Time != nil {
		if r.At, err = signal.Moment(payload, *l.src.Time, l.zone); err != nil {
			return r, err
		}
	}
	return r, r.check()
}

// drive is the power, or 1 and 0 of a switch; nil of a source of temperature alone.
func (l *listener) drive(payload []byte) (*float64, error) {
	on := 1.0
	if l.on != nil {
		var err error
		if on, err = l.on.Value(payload); err != nil || l.power == nil {
			return &on, err
		}
	}
	if l.power == nil {
		return nil, nil
	}
	w, err := l.power.Value(payload)
	if on == 0 {
		w = 0 // a plug that is switched off keeps showing its last power
	}
	return &w, err
}
