package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/maintenance"
	"sumpbook/maintenance/signal"
)

// A source of a pump as its test drives it: a minute a reading.
type source struct {
	*Sensor
	now *time.Time
}

func newSource(t *testing.T, k *Keeper, now *time.Time) source {
	t.Helper()
	_, err := k.book.Record(context.Background(), *now, opening(t))
	require.NoError(t, err)
	s, err := k.sensorFor("north")
	require.NoError(t, err)
	return source{s, now}
}

func (s source) feed(t *testing.T, minutes int, r Reading) {
	t.Helper()
	for range minutes {
		*s.now = s.now.Add(time.Minute)
		r.At, r.Arrived = *s.now, *s.now
		require.NoError(t, s.Take(context.Background(), *s.now, []Reading{r}))
	}
}

func lastStop(t *testing.T, k *Keeper) *maintenance.StopAct {
	t.Helper()
	p := k.book.now.Load().state.Pumps["north"]
	require.NotNil(t, p.Last)
	e, found, err := k.book.journal.Lookup(p.Last.Entry)
	require.NoError(t, err)
	require.True(t, found)
	return e.Act.(*maintenance.StopAct)
}

func TestWhatMachinesPost(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	h := page0(t, k)
	_, err := k.book.Record(context.Background(), *now, opening(t))
	require.NoError(t, err)
	for _, c := range []struct {
		name, body string
		status     int
		says       string
	}{
		{"Nothing", `{}`, 400, "none of"},
		{"TimeAlone", `{"at":"2026-03-01T07:00:00Z"}`, 400, "none of"},
		{"Pressure", `{"pa":12.5}`, 200, `"phase":""`},
		{"NoPressure", `{"pa":0}`, 400, "above 0"},
		{"MoreThanAir", `{"pa":110001}`, 400, "above 0"},
		{"OldTime", `{"at":"1969-12-31T00:00:00Z","pa":12.5}`, 400, "1970"},
		{"TooHot", `{"temp_c":1e300}`, 400, "sample 1"},
		{"All", `{"at":"2026-03-01T07:00:00Z","power_w":2,"temp_c":21,"pa":13}`, 200, `"phase":"idle"`},
		{"SecondOfTwo", `[{"power_w":2},{"power_w":null}]`, 400, "sample 2"},
		{"None", `[]`, 400, "0 samples"},
		{"TwoKeys", `{"pa":1,"pa":2}`, 400, "duplicate"},
		{"Huge", `[` + string(make([]byte, maxSignal)) + `]`, 413, "at most"},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := send(h, "POST", "/api/v1/signals/north", c.body)
			require.Equal(t, c.status, w.Code, w.Body.String())
			require.Contains(t, w.Body.String(), c.says)
		})
	}
	var says string
	for _, f := range k.lookAtSources() {
		says += f.Says
	}
	require.Contains(t, says, "21 °C")
	require.Contains(t, says, "13 Pa")
}

// Where a machine tells power, a temperature decides nothing: 65 °C is no 65 W.
func TestPowerDecides(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	s := newSource(t, k, now)
	s.feed(t, 30, Reading{Power: new(400.0), TempC: new(20.0)})
	require.Equal(t, signal.Running, s.State().Phase)
	s.feed(t, 10, Reading{TempC: new(65.0)})
	require.Equal(t, signal.Running, s.State().Phase)
	require.InDelta(t, 400, s.State().Held, 0)
	s.feed(t, 4, Reading{Power: new(3.0), TempC: new(65.0)})
	require.Equal(t, signal.Idle, s.State().Phase)
}

func TestATemperatureAloneDecides(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	s := newSource(t, k, now)
	g := config.Default().Signals
	s.feed(t, 10, Reading{TempC: new(g.OffC - 1)})
	s.feed(t, 60, Reading{TempC: new(g.OnC + 10)})
	require.Equal(t, signal.Running, s.State().Phase)
	s.feed(t, 30, Reading{TempC: new(g.OffC - 1)})
	require.Equal(t, signal.Idle, s.State().Phase)
	require.Nil(t, lastStop(t, k).HotC, "the pump has cooled by the time such a stop shows")
}

// The last temperature while the pump ran is that of its stop, if it is near it and can be
// that of oil.
func TestAStopKnowsHowHotItWas(t *testing.T) {
	for _, c := range []struct {
		name   string
		told   float64
		silent int // minutes before the stop in which no temperature came
		want   *float64
	}{
		{"Told", 66.04, 0, new(66.0)},
		{"TenMinutesBefore", 66, 9, new(66.0)},
		{"LongBefore", 66, 15, nil},
		{"NoOilIsSoHot", 200, 0, nil},
		{"NorSoCold", -3, 0, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			k, now := newTestKeeper(t, config.Default())
			s := newSource(t, k, now)
			s.feed(t, 30, Reading{Power: new(400.0), TempC: &c.told})
			s.feed(t, c.silent, Reading{Power: new(400.0)})
			s.feed(t, 5, Reading{Power: new(3.0), TempC: new(30.0)})
			require.Equal(t, c.want, lastStop(t, k).HotC)
			requireWhole(t, k.book)
		})
	}
}

// A stop that is told by a replay without its temperature, after one with it, adds nothing
// and stops nobody.
func TestAReplayedTraceAddsNothing(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	s := newSource(t, k, now)
	begin := *now
	s.feed(t, 30, Reading{Power: new(400.0), TempC: new(66.0)})
	s.feed(t, 10, Reading{Power: new(3.0)})
	seq, _ := k.book.Head()
	other, err := NewSensor(k.book, "south", "http:south", s.cfg, k.log, begin) // an empty memory
	require.NoError(t, err)
	other.pump = "north"
	*now = begin
	source{other, now}.feed(t, 30, Reading{Power: new(400.0)})
	source{other, now}.feed(t, 10, Reading{Power: new(3.0)})
	require.Equal(t, signal.Idle, other.State().Phase)
	again, _ := k.book.Head()
	require.Equal(t, seq, again)
}

// A meter that reports only changes is silent through a run: its availability holds the
// value, until the broker or the meter is gone, or a retained value says otherwise.
func TestAvailabilityHoldsTheValue(t *testing.T) {
	watts := "/w"
	for _, c := range []struct {
		name    string
		after   func(l *listener)
		running bool
	}{
		{"Online", func(*listener) {}, true},
		{"NeverSaid", func(l *listener) { l.online.Store(false) }, false},
		{"ConnectionLost", func(l *listener) { l.heard(false, "lost") }, false},
		{"RetainedSaysOther", func(l *listener) { l.take(context.Background(), []byte(`{"w":2}`), true) }, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			k, now := newTestKeeper(t, config.Default())
			s := newSource(t, k, now)
			l := newListener(config.Source{Pump: "north", Power: &watts}, time.UTC, s.Sensor, k.clock, k.log)
			ctx := context.Background()
			l.online.Store(true)
			for range 5 {
				*now = now.Add(time.Minute)
				l.take(ctx, []byte(`{"w":400}`), false)
			}
			c.after(l)
			for range 600 { // ten hours of silence
				*now = now.Add(time.Minute)
				l.hold(ctx)
				require.NoError(t, s.Tick(ctx, *now))
			}
			require.Equal(t, c.running, s.State().InRun())
			require.Equal(t, c.running, k.book.now.Load().state.Pumps["north"].Run != nil)
		})
	}
}

// A graceful end keeps the newest sample; a silent source costs no commit.
func TestTheDetectorIsStoredWhenItChanges(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	s := newSource(t, k, now)
	ctx := context.Background()
	s.feed(t, 3, Reading{Power: new(2.0)})
	*now = now.Add(10 * time.Second)
	require.NoError(t, s.Take(ctx, *now, []Reading{{At: *now, Arrived: *now, Power: new(3.0)}}))
	stored := func() float64 {
		raw, _, err := k.book.journal.Signal("north")
		require.NoError(t, err)
		d, err := decodeDetector(raw)
		require.NoError(t, err)
		return d.State.Held
	}
	require.InDelta(t, 2, stored(), 0)
	require.NoError(t, k.keepSensors())
	require.InDelta(t, 3, stored(), 0)

	commits := 0
	told := slog.New(slog.DiscardHandler)
	s.log = told
	before := s.kept
	for range 24 * 60 {
		*now = now.Add(time.Minute)
		require.NoError(t, s.Tick(ctx, *now))
		if s.kept != before {
			before = s.kept
			commits++
		}
	}
	require.LessOrEqual(t, commits, 1, "only that it fell silent")
}

// A machine that posts without being configured and dies with the daemon: its run ends,
// uncertain, once the daemon is back and has waited; and a week later it is forgotten.
func TestAPostedSourceSurvivesARestart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		data := t.TempDir()
		b := startBeating(t, config.Default(), data, &hand{})
		b.begin(t)
		b.tell(t, `{"id":"d1","kind":"drain","pump":"north","to":"jar-1"}`)
		b.tell(t, `{"id":"f1","kind":"fill","pump":"north","from":"can-1"}`)
		h := b.k.socketHandler()
		for range 30 {
			time.Sleep(time.Minute)
			w := send(h, "POST", "/api/v1/signals/north", `{"power_w":400}`)
			require.Equal(t, http.StatusOK, w.Code, w.Body.String())
		}
		last := time.Now()
		b.stop()
		time.Sleep(2 * time.Hour)
		b = startBeating(t, config.Default(), data, &hand{})
		defer func() { b.stop() }()
		time.Sleep(10 * time.Minute)
		synctest.Wait()
		require.NotNil(t, b.k.book.now.Load().state.Pumps["north"].Run, "the silence is ours")
		time.Sleep(10 * time.Minute)
		synctest.Wait()
		p := b.k.book.now.Load().state.Pumps["north"]
		require.Nil(t, p.Run)
		require.True(t, p.Last.Uncertain)
		require.True(t, p.Last.At.Equal(last))
		require.Equal(t, []string{"north"}, b.k.stale())
		time.Sleep(goneAfter)
		require.Empty(t, b.k.stale())
		require.Empty(t, b.k.lookAtSources())
	})
}

// Samples sent ten times as fast as they are meant for, for ten minutes: entries are taken
// meanwhile, and what is refused is counted.
func TestAFloodOfSamplesDelaysNoEntry(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	s := newSource(t, k, now)
	ctx := context.Background()
	slowest := time.Duration(0)
	for i := range 600 {
		*now = now.Add(100 * time.Millisecond)
		for range 10 {
			r := Reading{At: *now, Arrived: *now, Power: new(float64(i % 500))}
			if i%3 == 0 {
				r.At = r.At.AddDate(-1, 0, 0) // a clock that is a year off
			}
			require.NoError(t, s.Take(ctx, *now, []Reading{r}))
		}
		if i%20 == 0 {
			began := time.Now()
			_, err := k.book.Record(ctx, *now, []maintenance.Entry{entry(t, *now, fmt.Sprintf(`{"id":"n%d","kind":"note","note":"x"}`, i))})
			require.NoError(t, err)
			slowest = max(slowest, time.Since(began))
		}
	}
	require.Less(t, slowest, time.Second)
	require.GreaterOrEqual(t, s.State().Dropped, 1990)
}
