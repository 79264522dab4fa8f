package notify

import (
	"context"
	"errors"
	"fmt"
	"html"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/godbus/dbus/v5"
)

const (
	desktopTimeout = 10 * time.Second
	maxShown       = 1000 // notifications remembered, to replace them
)

// A Desktop shows each reminder as a notification of the desktop (Desktop Notifications
// Specification 1.2, over D-Bus) to the person whose session the bus is.
type Desktop struct {
	name, bus string

	mu    sync.Mutex
	owner string            // the unique name of the service whose numbers these are
	shown map[string]uint32 // by tag: the number of the notification
}

// NewDesktop takes the address of a session bus, unix:path=…; empty is that of the session
// in which the program runs. Nothing is dialled, and never is a bus started.
func NewDesktop(name, bus string) (*Desktop, error) {
	for one := range strings.SplitSeq(bus, ";") {
		if bus != "" && !strings.HasPrefix(one, "unix:path=/") && !strings.HasPrefix(one, "unix:abstract=") {
			return nil, fmt.Errorf("channel %s: bus is not unix:path=/… or unix:abstract=…", name)
		}
	}
	return &Desktop{name: name, bus: bus, shown: map[string]uint32{}}, nil
}

// Name is the channel's name in the configuration.
func (d *Desktop) Name() string { return d.name }

// Send shows the message, in place of what was shown of the same action before. That nobody
// is logged in, or that nothing shows notifications, may heal; that the service does not
// know or does not allow the call ends the tries.
func (d *Desktop) Send(ctx context.Context, m Message) (string, error) {
	ctx, cancel := context.WithTimeout(ctx, desktopTimeout)
	defer cancel() // ends the connection, whatever happened
	said, err := d.show(ctx, m)
	if err == nil {
		return said, nil
	}
	if ctx.Err() != nil {
		err = ctx.Err()
	}
	told := fmt.Errorf("notify the desktop: %s", secrets{}.cut(err.Error()))
	if no, ok := errors.AsType[dbus.Error](err); ok {
		told = fmt.Errorf("notify the desktop: %s", secrets{}.cut(no.Name+": "+no.Error()))
		if slices.Contains(lastingNo, no.Name) {
			return "", fmt.Errorf("%w: %w", told, ErrPermanent)
		}
	}
	return "", told
}

// lastingNo are the answers of a service that does not offer what is asked, or not to us.
var lastingNo = []string{
	"org.freedesktop.DBus.Error.AccessDenied", "org.freedesktop.DBus.Error.InvalidArgs", "org.freedesktop.DBus.Error.UnknownInterface",
	"org.freedesktop.DBus.Error.UnknownMethod", "org.freedesktop.DBus.Error.UnknownObject",
}

func (d *Desktop) show(ctx context.Context, m Message) (string, error) {
	address := d.bus
	if address == "" {
		address = sessionBus()
	}
	conn, err := dbus.Connect(address, dbus.WithContext(ctx))
	if err != nil {
		return "", fmt.Errorf("session bus of user %d: %w", os.Getuid(), err)
	}
	defer conn.Close()
	service := conn.Object("org.freedesktop.Notifications", "/org/freedesktop/Notifications")
	call := func(method string, into any, args ...any) error {
		return service.CallWithContext(ctx, "org.freedesktop.Notifications."+method, 0, args...).Store(into)
	}
	var able []string
	if err := call("GetCapabilities", &able); err != nil {
		return "", err
	}
	var owner string // known from here on: the call above has started the service, if it sleeps
	if err := conn.BusObject().CallWithContext(ctx, "org.freedesktop.DBus.GetNameOwner", 0, service.Destination()).Store(&owner); err != nil {
		return "", err
	}
	var number uint32
	err = call("Notify", &number, "sumpbook", d.before(owner, m.tag()), "", oneLine(m.Subject), bodyFor(able, m), []string{},
		map[string]dbus.Variant{"urgency": dbus.MakeVariant(byte(m.pressing()))}, int32(-1)) // −1: shown as long as is usual there
	if err != nil {
		return "", err
	}
	d.remember(owner, m, number)
	return "shown as number " + strconv.FormatUint(uint64(number), 10), nil
}

// sessionBus is the address that the session has announced, or the usual one of the user.
func sessionBus() string {
	if address := os.Getenv("DBUS_SESSION_BUS_ADDRESS"); strings.HasPrefix(address, "unix:") {
		return address
	}
	folder := os.Getenv("XDG_RUNTIME_DIR")
	if folder == "" {
		folder = filepath.Join("/run/user", strconv.Itoa(os.Getuid()))
	}
	return "unix:path=" + dbus.EscapeBusAddressValue(filepath.Join(folder, "bus"))
}

// bodyFor escapes what would be markup where the service reads some.
func bodyFor(able []string, m Message) string {
	if slices.Contains(able, "body-markup") {
		return html.EscapeString(m.below())
	}
	return m.below()
}

// before is the number of what was shown under a tag, 0 if nothing was. A service that was
// started anew counts anew: its numbers may be those of somebody else's notifications.
func (d *Desktop) before(owner, tag string) uint32 {
	d.mu.Lock()
	defer d.mu.Unlock()
	if owner != d.owner {
		clear(d.shown)
		d.owner = owner
	}
	return d.shown[tag]
}

func (d *Desktop) remember(owner string, m Message, number uint32) {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case owner != d.owner:
	case m.Key.Stage == Done:
		delete(d.shown, m.tag())
	default:
		if len(d.shown) >= maxShown {
			clear(d.shown)
		}
		d.shown[m.tag()] = number
	}
}
