package notify

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

func TestTellSaysWhatBecameOfAReminder(t *testing.T) {
	v := oslo(t)
	drain := Key{"drain/north/s1", Opened, 0, "phone"}
	for want, n := range map[string]Notice{
		"13:00 drain north, opened to phone: held until Wed 06:30: quiet hours":                                                {Key: drain, Outcome: Held, Until: ptr(after(17*time.Hour + 30*time.Minute)), Detail: "quiet hours"},
		"13:00 drain north, opened to phone: delivered: 200 OK":                                                                {Key: drain, Outcome: Delivered, Attempt: 1, Detail: "200 OK"},
		"13:00 drain north, opened to phone: delivered":                                                                        {Key: drain, Outcome: Delivered, Attempt: 1},
		"13:00 drain north, opened to phone: try 2 is under way, or was cut off: its outcome is not known":                     {Key: drain, Outcome: Attempted, Attempt: 2},
		"13:00 drain north, opened to phone: try 2 did not get through: post to 192.0.2.7: connection refused; next try 13:01": {Key: drain, Outcome: Retry, Attempt: 2, Until: ptr(after(time.Minute)), Detail: "post to 192.0.2.7: connection refused"},
		"13:00 drain north, opened to phone: given up after try 1: answered 410 Gone":                                          {Key: drain, Outcome: GaveUp, Attempt: 1, Detail: "answered 410 Gone"},
		"13:00 drain north, opened to phone: not sent any more: replaced by closing":                                           {Key: drain, Outcome: Superseded, Detail: "replaced by closing"},
		"13:00 test to phone: delivered: 200 OK":                                                                               {Key: TestReminder("phone", noon).Key, Outcome: Delivered, Detail: "200 OK", Test: true},
		"13:00 digest to mail: delivered: 250 queued [31mred":                                                                  {Key: Key{digestAction, Daily, 3, "mail"}, Outcome: Delivered, Detail: "250 queued\x1b[31mred"},
		"13:00 weekly to mail: delivered in one message with others (r-1): 250 queued":                                         {Key: Key{weeklyAction, Weekly, 3, "mail"}, Outcome: Delivered, Detail: "250 queued", In: "r-1"},
		"13:00 drain north, opened to phone: seen by ana: no repeat before the next stage":                                     SeenBy(drain, "ana", noon),
		"13:00 drain north, opened to phone: to be told in the night that comes, this once, as ana asked":                      WakeMe(drain, "ana", noon),
		"13:00 drain north, opened to phone: to be told in the night that comes, this once":                                    WakeMe(drain, "", noon),
		"13:00 drain north, opened to phone: held until Wed 06:30: ana's quiet hours":                                          {Key: drain, Outcome: Held, Until: ptr(after(17*time.Hour + 30*time.Minute)), Detail: "ana's quiet hours"},
	} {
		n.At = noon
		require.Equal(t, want, v.Tell(n, noon))
	}
}

func TestRecordsSumUp(t *testing.T) {
	w := newWorld(t, drainAction(), decantAction())
	w.says(noon)
	w.facts.Actions = w.facts.Actions[1:]
	w.says(after(time.Minute))
	w.add(Notice{At: noon, Key: TestReminder("phone", noon).Key, Outcome: Delivered, Test: true})
	for i := range w.notices {
		w.notices[i].Seq = uint64(i + 1)
	}
	got := Records(w.notices, w.facts)
	var lines []string
	for _, r := range got {
		lines = append(lines, r.Key.Action+" "+string(r.Key.Stage)+" "+string(r.Last.Outcome)+map[bool]string{true: ", answered"}[r.Answered])
	}
	require.Equal(t, []string{"drain/north/s1 opened delivered, answered", "decant/jar-2/d1 opened delivered", "drain/north/s1 done delivered", "test/phone/1795521600 opened delivered"}, lines)
	require.Equal(t, noon, got[0].First)
	require.Empty(t, Records(nil, w.facts))
}

func TestWhyNotTold(t *testing.T) {
	v, p := oslo(t), Policy{Channels: []string{"phone"}, Quiet: Quiet{From: clock(22, 0), To: clock(6, 30), Zone: zone(t, "Europe/Oslo")}}
	coming := decantAction()
	coming.Opens, coming.State = after(3*time.Hour), maintenance.Coming
	held := Notice{At: noon, Key: Key{"decant/jar-2/d1", Opened, 0, "phone"}, Outcome: Held, Until: ptr(after(time.Hour)), Detail: "quiet hours"}
	for name, c := range map[string]struct {
		actions []maintenance.Action
		notices []Notice
		policy  Policy
		now     time.Time
		want    string
	}{
		"nothing":      {nil, nil, p, noon, ""},
		"another kind": {[]maintenance.Action{drainAction()}, nil, p, noon, ""},
		"no channel":   {[]maintenance.Action{decantAction()}, nil, Policy{}, noon, "decant jar-2: no channel is configured, so nobody is told"},
		"not yet":      {[]maintenance.Action{coming}, nil, p, noon, "decant jar-2 to phone: not due before 16:00"},
		"night":        {[]maintenance.Action{decantAction()}, nil, p, after(10 * time.Hour), "decant jar-2 to phone: quiet hours until Wed 06:30"},
		"no daemon":    {[]maintenance.Action{decantAction()}, nil, p, after(time.Hour), "decant jar-2 to phone: due since 13:00, and no daemon has tried yet: reminders need sumpbook serve"},
		"held":         {[]maintenance.Action{decantAction()}, []Notice{held}, p, noon, "13:00 decant jar-2, opened to phone: held until 14:00: quiet hours"},
		"gone by now":  {nil, []Notice{held}, p, noon, "13:00 decant jar-2, opened to phone: held until 14:00: quiet hours"},
	} {
		t.Run(name, func(t *testing.T) {
			says := v.WhyNotTold(maintenance.DoDecant, Facts{Actions: c.actions}, c.notices, c.policy, c.now)
			require.Equal(t, c.want, strings.Join(says, "\n"))
		})
	}
}

func TestWhyAPersonWasNotTold(t *testing.T) {
	v, p := oslo(t), ladder()
	p.Quiet = Quiet{From: clock(22, 0), To: clock(6, 30), Zone: zone(t, "Europe/Oslo")}
	p.People[0].Quiet = Nights{{From: clock(12, 0), To: clock(15, 0), Zone: zone(t, "Europe/Oslo")}}
	f := Facts{Actions: []maintenance.Action{longDrain()}}
	seen := SeenBy(Key{"drain/north/s1", Opened, 0, "phone"}, "ana", after(10*time.Minute))
	require.Equal(t, []string{
		"drain north to phone: ana's quiet hours until 15:00",
		"drain north to mail: ana hears of drain on phone alone",
		"drain north to post: bo is told only if nobody answers for 45 min",
		"drain north to board: board is told only if nobody answers for 1 h 30 min",
	}, v.WhyNotTold(maintenance.DoDrain, f, nil, p, after(time.Minute)))
	require.Equal(t, []string{
		"13:10 drain north, opened to phone: seen by ana: no repeat before the next stage",
		"drain north to mail: ana hears of drain on phone alone",
		"drain north to post: bo is told only if nobody answers, and it was seen by ana 13:10",
		"drain north to board: board is told only if nobody answers, and it was seen by ana 13:10",
	}, v.WhyNotTold(maintenance.DoDrain, f, []Notice{seen}, p, after(time.Hour)))
}

// What a plan gives up is explained by the same words in its notices.
func TestNoticesExplainWhatAPolicyDropped(t *testing.T) {
	w := newWorld(t, longDrain())
	w.policy = ladder()
	w.carries(noon)
	w.carries(after(45 * time.Minute))
	last := w.notices[len(w.notices)-2]
	require.Equal(t, "no answer for 45 min: the window is open", last.Detail, "an escalation says why in the ledger")
	require.Equal(t, Attempted, last.Outcome)
}
