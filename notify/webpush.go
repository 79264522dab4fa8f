package notify

import (
	"cmp"
	"context"
	"crypto/ecdh"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	netmail "net/mail"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	webpush "github.com/SherClockHolmes/webpush-go"
	"github.com/go-json-experiment/json"
)

const (
	pushTimeout = 20 * time.Second
	maxEndpoint = 2 << 10
	// What a message may have, in bytes: the body that every push service takes (RFC 8030,
	// section 7.2) less header, tag and end mark (RFC 8291, section 4).
	maxPushed = 4096 - 86 - 16 - 1
	latePush  = 24 * time.Hour      // kept for a phone that is off, once due has passed; rule of this project, no source
	longPush  = 28 * 24 * time.Hour // push services keep nothing longer; common practice, no source
	maxTaken  = 256                 // reminders under way of which is remembered who has them
)

// A Phone is a browser that wants reminders: its push subscription, with keys in base64url.
// All of it is secret, since whoever has it can push.
type Phone struct {
	Endpoint string `json:"endpoint"`
	P256dh   string `json:"p256dh"` // its public key (RFC 8291, section 3.1)
	Auth     string `json:"auth"`   // its authentication secret
}

// Check says what is wrong with a phone, without repeating it.
func (p Phone) Check() error {
	u, err := url.Parse(p.Endpoint)
	if err != nil || u.Scheme != "https" || u.Hostname() == "" || u.User != nil || len(p.Endpoint) > maxEndpoint {
		return fmt.Errorf("endpoint is not an https address of at most %d bytes", maxEndpoint)
	}
	key, err := base64.RawURLEncoding.DecodeString(strings.TrimRight(p.P256dh, "="))
	if err == nil {
		_, err = ecdh.P256().NewPublicKey(key)
	}
	if err != nil {
		return errors.New("p256dh is not a public key of P-256 in base64url")
	}
	if auth, err := base64.RawURLEncoding.DecodeString(strings.TrimRight(p.Auth, "=")); err != nil || len(auth) != 16 {
		return errors.New("auth is not 16 bytes in base64url")
	}
	return nil
}

// PushKeys are those by which push services know us (VAPID, RFC 8292), in base64url.
type PushKeys struct{ Public, private string }

// NewPushKeys reads keys from the 32 bytes of the private one, or makes some if there are
// none. Seed gives the bytes back.
func NewPushKeys(seed []byte) (PushKeys, error) {
	key, err := ecdh.P256().NewPrivateKey(seed)
	if len(seed) == 0 {
		key, err = ecdh.P256().GenerateKey(rand.Reader)
	}
	if err != nil {
		return PushKeys{}, errors.New("no private key of P-256")
	}
	encode := base64.RawURLEncoding.EncodeToString
	return PushKeys{Public: encode(key.PublicKey().Bytes()), private: encode(key.Bytes())}, nil
}

// Seed is the private key.
func (k PushKeys) Seed() []byte {
	seed, _ := base64.RawURLEncoding.DecodeString(k.private) // encoded above
	return seed
}

// A PushStore keeps our keys, and the phones of each channel.
type PushStore interface {
	Keys() (PushKeys, error)
	Phones(channel string) ([]Phone, error)
	Remove(channel, endpoint string) error
}

// PushOptions say how to push.
type PushOptions struct {
	Subject    string         // mailto:ADDRESS or an https address: whom a push service may write to
	LocalHosts []string       // push services that may be at an address of this machine or network
	Roots      *x509.CertPool // nil: the machine's
	Store      PushStore
}

// A WebPush pushes each reminder to every phone that asked for it (RFC 8030, encrypted by
// RFC 8291).
type WebPush struct {
	name    string
	options PushOptions
	client  *http.Client

	mu    sync.Mutex
	taken map[string]map[string]bool // by message under way: the endpoints that have it
}

// NewWebPush checks the subject; it asks nobody.
func NewWebPush(name string, o PushOptions) (*WebPush, error) {
	address, isMail := strings.CutPrefix(o.Subject, "mailto:")
	_, err := netmail.ParseAddress(address)
	if u, bad := url.Parse(o.Subject); !isMail && (bad != nil || u.Scheme != "https" || u.Host == "") || isMail && err != nil {
		return nil, fmt.Errorf("channel %s: subject is not mailto:ADDRESS or an https address", name)
	}
	w := &WebPush{name: name, options: o, taken: map[string]map[string]bool{}}
	w.client = webhookClient()
	transport := w.client.Transport.(*http.Transport)
	transport.DialContext, transport.ForceAttemptHTTP2 = w.dial, true
	transport.TLSClientConfig = &tls.Config{RootCAs: o.Roots, MinVersion: tls.VersionTLS12}
	return w, nil
}

// errInner says that a name led to where nobody allowed it to lead.
var errInner = errors.New("the address is one of this machine or network: name the host under local_hosts if that is meant")

// dial connects to the world alone, unless told otherwise: a phone that registers says where
// we post to, and must not make us knock at the neighbours' doors.
func (w *WebPush) dial(ctx context.Context, network, address string) (net.Conn, error) {
	d := net.Dialer{Timeout: webhookTimeout}
	if host, _, err := net.SplitHostPort(address); err != nil || !slices.Contains(w.options.LocalHosts, host) {
		d.Control = func(_, to string, _ syscall.RawConn) error {
			at, err := netip.ParseAddrPort(to)
			if err != nil || !isOfTheWorld(at.Addr().Unmap()) {
				return errInner
			}
			return nil
		}
	}
	return d.DialContext(ctx, network, address)
}

// carriers is the shared address space behind carriers' translators (RFC 6598).
var carriers = netip.MustParsePrefix("100.64.0.0/10")

func isOfTheWorld(ip netip.Addr) bool {
	return ip.IsGlobalUnicast() && !ip.IsPrivate() && !carriers.Contains(ip)
}

// Name is the channel's name in the configuration.
func (w *WebPush) Name() string { return w.name }

// Send pushes the message to all phones at once. A phone that is no longer subscribed is
// removed. If one push may still succeed the message is to be sent again, and then goes to
// those phones only that do not have it.
func (w *WebPush) Send(ctx context.Context, m Message) (string, error) {
	ctx, cancel := context.WithTimeout(ctx, pushTimeout)
	defer cancel()
	keys, err1 := w.options.Store.Keys()
	phones, err2 := w.options.Store.Phones(w.name)
	if err := errors.Join(err1, err2); err != nil {
		return "", fmt.Errorf("push: %w", err)
	}
	body, err := m.forPhones()
	if err != nil {
		return "", err
	}
	answers := make([]error, len(phones))
	var all sync.WaitGroup
	for i, p := range phones {
		if !w.has(m.ID, p.Endpoint) {
			all.Go(func() { answers[i] = w.push(ctx, keys, p, m, body) })
		}
	}
	all.Wait()
	return w.sum(m, phones, answers)
}

// forPhones is what the page's worker on the phone shows: the tag is the same for all stages
// of an action, so that one takes the place of another. A long text is cut to what fits, and
// goes without the links.
func (m Message) forPhones() ([]byte, error) {
	note := struct {
		ID    string `json:"id"`
		Stage Stage  `json:"stage"`
		Tag   string `json:"tag"`
		Title string `json:"title"`
		Text  string `json:"text"`

		Links map[Reply]string `json:"links,omitzero"` // for buttons under the notification
	}{m.ID, m.Key.Stage, m.tag(), oneLine(m.Subject), m.below(), m.linksByReply()}
	body, err := json.Marshal(note, json.Deterministic(true))
	if len(body) > maxPushed { // the text is enough without them
		note.Links = nil
		body, err = json.Marshal(note)
	}
	if over := len(body) - maxPushed; err == nil && over > 0 {
		keep := max(0, len(note.Text)-over-len("…"))
		note.Text = strings.ToValidUTF8(note.Text[:keep], "") + "…"
		body, err = json.Marshal(note)
	}
	if err != nil {
		return nil, fmt.Errorf("write reminder as json: %w: %w", err, ErrPermanent)
	}
	return body, nil
}

// errGone says that a phone is no longer subscribed.
var errGone = errors.New("no longer subscribed")

var urgencies = map[pressing]webpush.Urgency{relaxed: webpush.UrgencyLow, usual: webpush.UrgencyNormal, urgent: webpush.UrgencyHigh}

// push sends to one phone. Its errors name the push service alone.
func (w *WebPush) push(ctx context.Context, keys PushKeys, p Phone, m Message, body []byte) error {
	u, err := url.Parse(p.Endpoint)
	if err != nil || p.Check() != nil {
		return fmt.Errorf("a phone whose subscription cannot be read: %w", ErrPermanent)
	}
	hidden := append(p.hidden(u), keys.private)
	body = slices.Clip(body) // the library writes behind its end, where other phones' padding would be
	resp, err := webpush.SendNotificationWithContext(ctx, body, &webpush.Subscription{Endpoint: p.Endpoint, Keys: webpush.Keys{Auth: p.Auth, P256dh: p.P256dh}}, &webpush.Options{
		HTTPClient: hider{w.client, &hidden}, TTL: int(m.keptFor() / time.Second), Urgency: urgencies[m.pressing()],
		Topic:      idOf(m.tag()), // a newer message takes the place of one not yet fetched
		Subscriber: strings.TrimPrefix(w.options.Subject, "mailto:"), VAPIDPublicKey: keys.Public, VAPIDPrivateKey: keys.private,
	})
	if err != nil {
		told := fmt.Errorf("%s: %s", u.Host, hidden.cut(stripped(err).Error()))
		if errors.Is(err, errInner) {
			return fmt.Errorf("%w: %w", told, ErrPermanent)
		}
		return told
	}
	defer resp.Body.Close()
	answer, _ := io.ReadAll(io.LimitReader(resp.Body, maxAnswer)) // the status has answered already
	said := slices.Concat(hidden, m.tokens()).cut(strings.TrimSpace(resp.Status + " " + string(answer)))
	if resp.StatusCode == http.StatusNotFound || resp.StatusCode == http.StatusGone {
		return fmt.Errorf("%s: answered %s: %w", u.Host, said, errGone)
	}
	if err := judge(resp, said, m.SentAt); err != nil {
		return fmt.Errorf("%s: %w", u.Host, err)
	}
	return nil
}

// hidden are the secrets of a phone: its keys, its address, and each part of that which is
// long enough to be one, since push services repeat them.
func (p Phone) hidden(u *url.URL) secrets {
	all := append(hiddenIn(u), p.Auth, p.P256dh)
	for part := range strings.FieldsFuncSeq(u.RequestURI(), func(r rune) bool { return strings.ContainsRune("/?&=", r) }) {
		if len(part) >= 16 {
			all = append(all, part)
		}
	}
	return all
}

// keptFor is how long the push service keeps the message for a phone that is off, in whole
// seconds: until the action is due, when the next stage is said. What no next stage takes the
// place of is kept for a day.
func (m Message) keptFor() time.Duration {
	kept := m.Action.Due.Sub(m.SentAt)
	if kept <= 0 || m.Key.Stage == Done || m.tag() != m.Key.Action {
		kept = max(kept, latePush)
	}
	return min(kept+time.Second-1, longPush).Truncate(time.Second)
}

// A hider sees the token that a request is signed with, and has it hidden from then on.
type hider struct {
	client *http.Client
	hidden *secrets
}

func (h hider) Do(r *http.Request) (*http.Response, error) {
	token, _, _ := strings.Cut(strings.TrimPrefix(r.Header.Get("Authorization"), "vapid t="), ",")
	*h.hidden = append(*h.hidden, token)
	r.Header.Set("User-Agent", "sumpbook")
	return h.client.Do(r)
}

// stripped leaves the address out, which the client puts before its errors.
func stripped(err error) error {
	if u, ok := errors.AsType[*url.Error](err); ok {
		return u.Err
	}
	return err
}

// sum makes one answer of those of all phones.
func (w *WebPush) sum(m Message, phones []Phone, answers []error) (string, error) {
	var have, gone int
	var wait time.Duration
	var failed []error
	lasting := true
	for i, err := range answers {
		switch {
		case err == nil:
			have++
			w.remember(m.ID, phones[i].Endpoint)
		case errors.Is(err, errGone) && w.options.Store.Remove(w.name, phones[i].Endpoint) == nil:
			gone++
		default:
			failed = append(failed, err)
			lasting = lasting && errors.Is(err, ErrPermanent)
			if asked, ok := errors.AsType[*RetryAfter](err); ok {
				wait = max(wait, asked.Wait)
			}
		}
	}
	said := tally(have, gone, failed)
	switch {
	case len(failed) > 0 && !lasting:
		return "", &RetryAfter{Wait: wait, Err: errors.New("push: " + said)}
	case have > 0:
		w.forget(m.ID)
		return said, nil
	case len(failed) > 0:
		return "", fmt.Errorf("push: %s: %w", said, ErrPermanent)
	}
	return "", fmt.Errorf("push: %s", cmp.Or(said, "no phone has asked for reminders yet"))
}

func tally(have, gone int, failed []error) string {
	var parts []string
	if have > 0 {
		parts = append(parts, fmt.Sprintf("taken for %d of %d phones", have, have+gone+len(failed)))
	}
	if gone > 0 {
		parts = append(parts, fmt.Sprintf("%d no longer subscribed, removed", gone))
	}
	for _, err := range failed {
		parts = append(parts, strings.TrimSuffix(err.Error(), ": "+ErrPermanent.Error()))
	}
	return strings.Join(parts, "; ")
}

// has says whether a phone has a message already: sent again because of another phone, it is
// not to ring twice.
func (w *WebPush) has(message, endpoint string) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.taken[message][endpoint]
}

func (w *WebPush) remember(message, endpoint string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.taken[message] == nil {
		if len(w.taken) >= maxTaken {
			clear(w.taken) // those given up long ago; at worst a phone rings twice
		}
		w.taken[message] = map[string]bool{}
	}
	w.taken[message][endpoint] = true
}

func (w *WebPush) forget(message string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.taken, message)
}
