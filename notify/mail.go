package notify

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"errors"
	"fmt"
	"net"
	netmail "net/mail"
	"net/textproto"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/wneessen/go-mail"
	"github.com/wneessen/go-mail/smtp"
)

const (
	mailTimeout = 20 * time.Second
	maxTalk     = 1 << 20 // of what a mail server says in one delivery, certificates included
)

// Security is how the way to a mail server is protected.
type Security string

// The kinds of protection. By default it is STARTTLS; on loopback, with no password to
// protect, it is Opportunistic.
const (
	StartTLS      Security = "starttls"      // or nothing is sent
	Opportunistic Security = "opportunistic" // STARTTLS where the server offers it
	ImplicitTLS   Security = "tls"           // from the first byte, as on port 465
	NoSecurity    Security = "none"
)

// A MailServer says where mail is handed over, and from and to whom it goes.
type MailServer struct {
	Host               string
	Port               int
	From               string
	To                 []string
	Username, Password string // both empty: no login
	Security           Security
	Roots              *x509.CertPool // nil: the machine's
}

// A Mail sends each reminder as a letter of plain text.
type Mail struct {
	name   string
	server MailServer
	from   string // in angle brackets, as the protocol wants it
	to     []string
	hidden secrets
}

// NewMail checks the addresses and that no password could travel in the clear.
func NewMail(name string, s MailServer) (*Mail, error) {
	m := &Mail{name: name, server: s}
	from, err := netmail.ParseAddress(s.From)
	if err != nil {
		return nil, fmt.Errorf("channel %s: from is not a mail address", name)
	}
	m.from = bracketed(from)
	for _, each := range s.To {
		to, err := netmail.ParseAddress(each)
		if err != nil {
			return nil, fmt.Errorf("channel %s: to: %q is not a mail address", name, oneLine(each))
		}
		m.to = append(m.to, bracketed(to))
	}
	if len(m.to) == 0 {
		return nil, fmt.Errorf("channel %s: to names nobody", name)
	}
	return m, m.checkSecurity()
}

func bracketed(a *netmail.Address) string { return (&netmail.Address{Address: a.Address}).String() }

func (m *Mail) checkSecurity() error {
	s := &m.server
	if s.Security == "" {
		s.Security = StartTLS
		if isLoopback(s.Host) && s.Password == "" {
			s.Security = Opportunistic
		}
	}
	switch s.Security {
	case StartTLS, ImplicitTLS:
	case Opportunistic, NoSecurity:
		if s.Password != "" {
			return fmt.Errorf("channel %s: a password needs security starttls or tls", m.name)
		}
	default:
		return fmt.Errorf("channel %s: security is not starttls, tls, opportunistic or none", m.name)
	}
	if s.Password != "" {
		plain := "\x00" + s.Username + "\x00" + s.Password
		m.hidden = secrets{s.Password, base64.StdEncoding.EncodeToString([]byte(plain)), base64.StdEncoding.EncodeToString([]byte(s.Password))}
	}
	return nil
}

func isLoopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// Name is the channel's name in the configuration.
func (m *Mail) Name() string { return m.name }

// Send hands one letter over for all its readers. An answer from 500 on ends the tries; a
// reader whom the server refuses for good does not keep it from the others.
func (m *Mail) Send(ctx context.Context, msg Message) (string, error) {
	ctx, cancel := context.WithTimeout(ctx, mailTimeout)
	defer cancel() // closes the connection, whatever happened
	hidden := slices.Concat(m.hidden, msg.tokens())
	letter, err := m.letter(msg)
	if err != nil {
		return "", fmt.Errorf("write mail: %s: %w", hidden.cut(err.Error()), ErrPermanent)
	}
	said, err := m.handOver(ctx, letter)
	if err == nil {
		return hidden.cut(said), nil
	}
	if ctx.Err() != nil {
		err = ctx.Err()
	}
	where := net.JoinHostPort(m.server.Host, strconv.Itoa(m.server.Port))
	told := fmt.Errorf("mail by %s: %s", where, hidden.cut(plainly(err)))
	if answer, ok := errors.AsType[*textproto.Error](err); ok && answer.Code >= 500 {
		return "", fmt.Errorf("%w: %w", told, ErrPermanent)
	}
	return "", told
}

// plainly gives a server's answer as the server wrote it.
func plainly(err error) string {
	if answer, ok := errors.AsType[*textproto.Error](err); ok {
		return fmt.Sprintf("%d %s", answer.Code, answer.Msg)
	}
	return err.Error()
}

// letter has the same Message-ID on every repeat, so that mail programs show it once.
func (m *Mail) letter(msg Message) (*mail.Msg, error) {
	letter := mail.NewMsg(mail.WithNoDefaultUserAgent(), mail.WithEncoding(mail.EncodingQP))
	if err := errors.Join(letter.From(m.server.From), letter.To(m.server.To...)); err != nil {
		return nil, err
	}
	domain := strings.Trim(m.from[strings.LastIndex(m.from, "@"):], "@>")
	letter.SetMessageIDWithValue(msg.ID + "@" + domain)
	letter.SetDateWithValue(msg.SentAt)
	letter.Subject(oneLine(msg.Subject))
	letter.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834: no out-of-office answers
	letter.SetBodyString(mail.TypeTextPlain, msg.Text+linkLines(msg.Links))
	return letter, nil
}

func (m *Mail) handOver(ctx context.Context, letter *mail.Msg) (string, error) {
	client, err := mail.NewClient(m.server.Host, m.options(ctx)...)
	if err != nil {
		return "", err
	}
	talk, err := client.DialToSMTPClientWithContext(ctx)
	if err != nil {
		return "", err
	}
	said, err := m.transact(talk, letter)
	if err == nil {
		_ = talk.Quit() // it has the letter: a server that hangs up now has not refused it
	}
	return said, err
}

func (m *Mail) options(ctx context.Context) []mail.Option {
	secure := &tls.Config{ServerName: m.server.Host, RootCAs: m.server.Roots, MinVersion: tls.VersionTLS12}
	options := []mail.Option{
		mail.WithPort(m.server.Port),
		mail.WithTimeout(mailTimeout),
		mail.WithTLSConfig(secure),
		mail.WithTLSPolicy(policies[m.server.Security]),
		mail.WithoutSMTPUTF8(),
		mail.WithDialContextFunc(m.dialer(ctx, secure)),
	}
	if m.server.Password != "" {
		options = append(options, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover),
			mail.WithUsername(m.server.Username), mail.WithPassword(m.server.Password))
	}
	return options
}

var policies = map[Security]mail.TLSPolicy{
	StartTLS:      mail.TLSMandatory,
	Opportunistic: mail.TLSOpportunistic,
	ImplicitTLS:   mail.TLSOpportunistic, // finds the connection protected and leaves it so
	NoSecurity:    mail.NoTLS,
}

// dialer makes connections that end with the delivery and that read only so much: the
// library minds neither once it is connected.
func (m *Mail) dialer(delivery context.Context, secure *tls.Config) mail.DialContextFunc {
	return func(ctx context.Context, network, address string) (net.Conn, error) {
		plain, err := new(net.Dialer).DialContext(ctx, network, address)
		if err != nil {
			return nil, err
		}
		context.AfterFunc(delivery, func() { plain.Close() })
		conn := net.Conn(&boundedConn{Conn: plain, left: maxTalk})
		if m.server.Security != ImplicitTLS {
			return conn, nil
		}
		protected := tls.Client(conn, secure)
		return protected, protected.HandshakeContext(ctx)
	}
}

type boundedConn struct {
	net.Conn
	left int
}

func (c *boundedConn) Read(p []byte) (int, error) {
	if c.left <= 0 {
		return 0, errors.New("the server talks without end")
	}
	n, err := c.Conn.Read(p[:min(len(p), c.left)])
	c.left -= n
	return n, err
}

// transact offers the letter to all readers and hands it over for those that are taken. A
// refusal that may heal puts it off for all, so that no reader is forgotten.
func (m *Mail) transact(talk *smtp.Client, letter *mail.Msg) (string, error) {
	if err := talk.Mail(m.from); err != nil {
		return "", err
	}
	var refused []string
	for _, to := range m.to {
		err := talk.Rcpt(to)
		answer, ok := errors.AsType[*textproto.Error](err)
		if err != nil && (!ok || answer.Code < 500 || len(refused) == len(m.to)-1) {
			return "", err
		}
		if err != nil {
			refused = append(refused, "; not to "+to+": "+plainly(err))
		}
	}
	said, err := hand(talk, letter)
	return said + strings.Join(refused, ""), err
}

func hand(talk *smtp.Client, letter *mail.Msg) (string, error) {
	body, err := talk.Data()
	if err != nil {
		return "", err
	}
	if _, err := letter.WriteTo(body); err != nil {
		return "", err
	}
	if err := body.Close(); err != nil {
		return "", err
	}
	said, ok := body.(interface{ ServerResponse() string })
	if !ok {
		return "accepted", nil
	}
	return said.ServerResponse(), nil
}
