package daemon

import (
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"sumpbook/notify"
)

const (
	phonesFile = "push.json" // the phones that asked for reminders
	pushKey    = "push.key"  // our own key: a phone belongs to the key that it was shown
	maxPhones  = 32          // a channel; they are pushed to at once
	maxListing = 256 << 10   // bytes of push.json
	maxPhone   = 8 << 10     // bytes of a phone's request
)

// A phoneBook keeps the phones of a data folder, and the key they know us by. It is the
// store of the webpush channels; the lock of the book keeps other processes out.
type phoneBook struct {
	folder string
	mu     sync.Mutex
}

// A listedPhone is one phone as it is stored.
type listedPhone struct {
	Channel string `json:"channel"`
	notify.Phone
	Since time.Time `json:"since"`
}

type phoneList struct {
	Phones []listedPhone `json:"phones"`
}

// Keys gives our keys, which are made when they are first asked for.
func (b *phoneBook) Keys() (notify.PushKeys, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	path := filepath.Join(b.folder, pushKey)
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		keys, err := notify.NewPushKeys(nil)
		if err != nil {
			return keys, err
		}
		return keys, writeWhole(path, []byte(base64.RawURLEncoding.EncodeToString(keys.Seed())+"\n"))
	}
	if err != nil {
		return notify.PushKeys{}, fmt.Errorf("read the push key: %w", err)
	}
	seed, err := base64.RawURLEncoding.DecodeString(strings.TrimSpace(string(text)))
	if err != nil || len(seed) == 0 {
		return notify.PushKeys{}, fmt.Errorf("read the push key: %s holds none; remove it and one is made, then let each phone ask anew", path)
	}
	keys, err := notify.NewPushKeys(seed)
	if err != nil {
		return keys, fmt.Errorf("read the push key: %s: %w; remove it and one is made, then let each phone ask anew", path, err)
	}
	return keys, nil
}

// Phones gives those of a channel.
func (b *phoneBook) Phones(channel string) ([]notify.Phone, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	list, err := b.read()
	var all []notify.Phone
	for _, p := range list.Phones {
		if p.Channel == channel {
			all = append(all, p.Phone)
		}
	}
	return all, err
}

// Remove strikes a phone off.
func (b *phoneBook) Remove(channel, endpoint string) error {
	_, err := b.strike(channel, endpoint)
	return err
}

func (b *phoneBook) strike(channel, endpoint string) (left int, err error) {
	return b.change(func(list *phoneList) error {
		list.strike(channel, endpoint)
		return nil
	})
}

// add takes a phone, in place of the same one as it was before.
func (b *phoneBook) add(p listedPhone) (int, error) {
	return b.change(func(list *phoneList) error {
		list.strike(p.Channel, p.Endpoint)
		if list.on(p.Channel) >= maxPhones {
			return problem(http.StatusConflict, fmt.Sprintf("%s has %d phones already", p.Channel, maxPhones), "remove one that is used no more")
		}
		list.Phones = append(list.Phones, p)
		return nil
	})
}

func (l *phoneList) strike(channel, endpoint string) {
	l.Phones = slices.DeleteFunc(l.Phones, func(p listedPhone) bool { return p.Channel == channel && p.Endpoint == endpoint })
}

func (l *phoneList) on(channel string) (n int) {
	for _, p := range l.Phones {
		if p.Channel == channel {
			n++
		}
	}
	return n
}

// change reads, changes and writes the list, and gives how many phones it then has.
func (b *phoneBook) change(do func(*phoneList) error) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	list, err := b.read()
	if err != nil {
		return 0, err
	}
	if err := do(&list); err != nil {
		return 0, err
	}
	text, err := json.Marshal(list, jsontext.WithIndent(" "))
	if err != nil {
		return 0, fmt.Errorf("write the phones: %w", err)
	}
	return len(list.Phones), writeWhole(filepath.Join(b.folder, phonesFile), append(text, '\n'))
}

func (b *phoneBook) read() (list phoneList, err error) {
	path := filepath.Join(b.folder, phonesFile)
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return list, nil
	}
	if err != nil {
		return list, fmt.Errorf("read the phones: %w", err)
	}
	if len(text) > maxListing {
		return list, fmt.Errorf("read the phones: %s has more than %d bytes", path, maxListing)
	}
	if json.Unmarshal(text, &list, json.RejectUnknownMembers(true)) != nil { // whose words may repeat a secret
		return phoneList{}, fmt.Errorf("read the phones: %s is not the list that was written; remove it, then let each phone ask anew", path)
	}
	for i, p := range list.Phones {
		if err := p.Check(); err != nil {
			return phoneList{}, fmt.Errorf("read the phones: %s: phone %d: %w", path, i+1, err)
		}
	}
	return list, nil
}

// writeWhole replaces a file, which is its owner's alone, by one with this content or leaves
// it as it was.
func writeWhole(path string, content []byte) (err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("write %s: %w", path, err)
		}
	}()
	temp, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	defer os.Remove(temp.Name())
	_, err = temp.Write(content)
	if err := errors.Join(err, temp.Sync(), temp.Close()); err != nil {
		return err
	}
	return os.Rename(temp.Name(), path)
}

// push registers what the page needs so that a phone can ask for reminders.
func (k *Keeper) push(mux *http.ServeMux) {
	mux.HandleFunc("GET /api/v1/push", answer(k.getPush))
	mux.HandleFunc("POST /api/v1/push", limited(maxPhone, answer(k.postPush)))
	mux.HandleFunc("DELETE /api/v1/push", limited(maxPhone, answer(k.deletePush)))
}

// A PushView says whether the page can offer push where it is open, and if not, why.
type PushView struct {
	Offered  bool     `json:"offered"`
	Why      string   `json:"why,omitzero"` // a sentence for the page
	Key      string   `json:"key,omitzero"` // the application server key, in base64url
	Channels []string `json:"channels"`     // those that push
	Phones   int      `json:"phones"`       // of all of them
}

func (k *Keeper) getPush(r *http.Request) (any, error) {
	v := PushView{Channels: k.pushChannels(), Why: k.whyNoPush(r)}
	if len(v.Channels) == 0 {
		v.Channels = []string{}
		return v, nil
	}
	keys, err := k.phones.Keys()
	if err != nil {
		return nil, err
	}
	for _, name := range v.Channels {
		phones, err := k.phones.Phones(name)
		if err != nil {
			return nil, err
		}
		v.Phones += len(phones)
	}
	v.Key, v.Offered = keys.Public, v.Why == ""
	return v, nil
}

// whyNoPush is why the page cannot offer push to a browser; empty if it can.
func (k *Keeper) whyNoPush(r *http.Request) string {
	switch {
	case len(k.pushChannels()) == 0:
		return "Push is not set up: there is no channel of type webpush in the configuration."
	case !k.inSecureContext(r):
		return "Push is offered only over https, or from this machine itself: elsewhere no browser takes it."
	}
	return ""
}

// inSecureContext says whether a browser counts the page as delivered securely: the name it
// asked for is this machine's own, or that of base_url, where https is.
func (k *Keeper) inSecureContext(r *http.Request) bool {
	host := r.Host
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.Trim(host, "[]")
	if ip := net.ParseIP(host); host == "localhost" || ip != nil && ip.IsLoopback() || r.TLS != nil {
		return true
	}
	u, err := url.Parse(k.settings.Config.BaseURL)
	return err == nil && u.Scheme == "https" && strings.EqualFold(u.Hostname(), host)
}

func (k *Keeper) pushChannels() (names []string) {
	for _, ch := range k.settings.Config.Channels {
		if ch.Type == "webpush" {
			names = append(names, ch.Name)
		}
	}
	return names
}

// A subscription is what a browser's PushSubscription says of itself as JSON.
type subscription struct {
	Endpoint       string           `json:"endpoint"`
	ExpirationTime *float64         `json:"expirationTime,omitzero"` // told by the push service in time, by 404 or 410
	Keys           subscriptionKeys `json:"keys"`
}

type subscriptionKeys struct {
	P256dh string `json:"p256dh"`
	Auth   string `json:"auth"`
}

// A farewell names the phone that wants no more.
type farewell struct {
	Endpoint string `json:"endpoint"`
}

// A PhonesView is how many phones there are after a change.
type PhonesView struct {
	Phones int `json:"phones"`
}

func (k *Keeper) postPush(r *http.Request) (any, error) {
	channel, err := k.pushChannel(r)
	if err != nil {
		return nil, err
	}
	var ask subscription
	if err := readPhone(r, &ask); err != nil {
		return nil, err
	}
	p := listedPhone{Channel: channel, Phone: notify.Phone{Endpoint: ask.Endpoint, P256dh: ask.Keys.P256dh, Auth: ask.Keys.Auth}, Since: k.clock().UTC()}
	if err := p.Check(); err != nil {
		return nil, problem(http.StatusUnprocessableEntity, err.Error(), "send what the browser's PushSubscription gives as JSON")
	}
	n, err := k.phones.add(p)
	if err != nil {
		return nil, err
	}
	k.log.Info("phone added", "channel", channel, "phones", n)
	return PhonesView{n}, nil
}

func (k *Keeper) deletePush(r *http.Request) (any, error) {
	channel, err := k.pushChannel(r)
	if err != nil {
		return nil, err
	}
	var ask farewell
	if err := readPhone(r, &ask); err != nil {
		return nil, err
	}
	n, err := k.phones.strike(channel, ask.Endpoint)
	if err != nil {
		return nil, err
	}
	k.log.Info("phone removed", "channel", channel, "phones", n)
	return PhonesView{n}, nil
}

// pushChannel is the channel that a request names, or the only one.
func (k *Keeper) pushChannel(r *http.Request) (string, error) {
	names, asked := k.pushChannels(), r.URL.Query().Get("channel")
	switch {
	case asked == "" && len(names) == 1:
		return names[0], nil
	case len(names) == 0:
		return "", problem(http.StatusNotFound, "there is no channel that pushes", "add one of type webpush to the configuration")
	case !slices.Contains(names, asked):
		return "", problem(http.StatusNotFound, fmt.Sprintf("%q is no channel that pushes", asked), "give channel="+strings.Join(names, " or channel="))
	}
	return asked, nil
}

// readPhone reads a request strictly. What is wrong is not repeated: it may be secret.
func readPhone(r *http.Request, into any) error {
	b, err := body(r)
	if err != nil {
		return err
	}
	if json.Unmarshal(b, into, json.RejectUnknownMembers(true)) != nil {
		return problem(http.StatusBadRequest, "this is not what a browser's PushSubscription gives as JSON", `POST takes {"endpoint":…,"keys":{"p256dh":…,"auth":…}}, DELETE takes {"endpoint":…}`)
	}
	return nil
}
