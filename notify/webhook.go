package notify

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
)

const (
	webhookTimeout = 10 * time.Second
	maxAnswer      = 4 << 10
)

// A Webhook posts each reminder as JSON, with the Standard Webhooks headers.
type Webhook struct {
	name, address string
	signer        *standardwebhooks.Webhook // nil: unsigned
	client        *http.Client
	hidden        secrets
}

// NewWebhook posts to an http or https address. The secret signs; it is base64, with or
// without "whsec_" before it, and may be empty.
func NewWebhook(name, address, secret string) (*Webhook, error) {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return nil, fmt.Errorf("channel %s: url is not an http or https address", name)
	}
	w := &Webhook{name: name, address: address, client: webhookClient(), hidden: hiddenIn(u)}
	if secret != "" {
		if w.signer, err = standardwebhooks.NewWebhook(secret); err != nil {
			return nil, fmt.Errorf("channel %s: secret is not base64 after whsec_", name)
		}
		w.hidden = append(w.hidden, secret, strings.TrimPrefix(secret, "whsec_"))
	}
	return w, nil
}

// hiddenIn lists what of an address may be a secret: all of it but the host.
func hiddenIn(u *url.URL) secrets {
	hidden := secrets{u.String()}
	if password, ok := u.User.Password(); ok {
		hidden = append(hidden, password, base64.StdEncoding.EncodeToString([]byte(u.User.Username()+":"+password)))
	}
	if uri := u.RequestURI(); len(uri) > 1 {
		hidden = append(hidden, uri)
	}
	if u.RawQuery != "" {
		hidden = append(hidden, u.RawQuery)
	}
	return hidden
}

// webhookClient follows no redirect, so that neither the reminder nor a secret reaches an
// address that nobody configured. It keeps no connection: reminders are rare.
func webhookClient() *http.Client {
	return &http.Client{
		Timeout: webhookTimeout,
		Transport: &http.Transport{
			Proxy:                  http.ProxyFromEnvironment,
			DialContext:            (&net.Dialer{Timeout: webhookTimeout}).DialContext,
			TLSHandshakeTimeout:    webhookTimeout, // it goes on when the send has ended, for others to use
			DisableKeepAlives:      true,
			DisableCompression:     true,
			MaxResponseHeaderBytes: 64 << 10,
		},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// Name is the channel's name in the configuration.
func (w *Webhook) Name() string { return w.name }

// Send posts the message. Any 2xx is a yes. 4xx and a permanent redirect end the tries, but
// for 408, 425 and 429, which like all else may heal.
func (w *Webhook) Send(ctx context.Context, m Message) (string, error) {
	req, err := w.request(ctx, m)
	if err != nil {
		return "", err
	}
	resp, err := w.client.Do(req)
	if err != nil {
		return "", w.unreached(req, err)
	}
	defer resp.Body.Close()
	body, _ := io.ReadAll(io.LimitReader(resp.Body, maxAnswer)) // the status has answered already
	said := slices.Concat(w.hidden, m.tokens()).cut(strings.TrimSpace(resp.Status + " " + string(body)))
	return said, judge(resp, said, m.SentAt)
}

func (w *Webhook) request(ctx context.Context, m Message) (*http.Request, error) {
	body, err := m.forMachines()
	if err != nil {
		return nil, err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, w.address, bytes.NewReader(body))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", w.hidden.cut(err.Error()), ErrPermanent)
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("User-Agent", "sumpbook")
	req.Header.Set(standardwebhooks.HeaderWebhookID, m.ID)
	req.Header.Set(standardwebhooks.HeaderWebhookTimestamp, strconv.FormatInt(m.SentAt.Unix(), 10))
	if w.signer != nil {
		signature, err := w.signer.Sign(m.ID, m.SentAt, body)
		if err != nil {
			return nil, fmt.Errorf("sign reminder: %w: %w", err, ErrPermanent)
		}
		req.Header.Set(standardwebhooks.HeaderWebhookSignature, signature)
	}
	return req, nil
}

// unreached leaves the address out, which the client puts before its errors.
func (w *Webhook) unreached(req *http.Request, err error) error {
	if u, ok := errors.AsType[*url.Error](err); ok {
		err = u.Err
	}
	return fmt.Errorf("post to %s: %s", req.URL.Host, w.hidden.cut(err.Error()))
}

func judge(resp *http.Response, said string, now time.Time) error {
	code := resp.StatusCode
	if code >= 200 && code < 300 {
		return nil
	}
	err := fmt.Errorf("answered %s", said)
	switch code {
	case http.StatusRequestTimeout, http.StatusTooEarly, http.StatusTooManyRequests:
	case http.StatusMovedPermanently, http.StatusPermanentRedirect:
		return fmt.Errorf("answered %s: the address has moved, configure the new one: %w", said, ErrPermanent)
	default:
		if code >= 400 && code < 500 {
			return fmt.Errorf("%w: %w", err, ErrPermanent)
		}
	}
	if wait, ok := retryAfter(resp.Header.Get("Retry-After"), now); ok {
		return &RetryAfter{Wait: wait, Err: err}
	}
	return err
}

// retryAfter reads the header's two forms, seconds or a date (RFC 9110, section 10.2.3).
func retryAfter(value string, now time.Time) (time.Duration, bool) {
	if seconds, err := strconv.ParseUint(value, 10, 63); err == nil {
		return time.Duration(min(seconds, uint64(MaxRetryAfter/time.Second))) * time.Second, true
	}
	at, err := http.ParseTime(value)
	if err != nil {
		return 0, false
	}
	return at.Sub(now), true
}
