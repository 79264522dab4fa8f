package daemon

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"time"

	systemd "github.com/coreos/go-systemd/v22/daemon"

	"sumpbook/daemon/journal"
	"sumpbook/daemon/web"
	"sumpbook/notify"
)

const (
	bookFile   = "book.db"
	socketFile = "sumpbook.sock"
	stopWithin = 4 * time.Second // for requests under way when the daemon is told to end
)

// ErrLocked says that another process holds the book.
var ErrLocked = journal.ErrLocked

// BookPath is the file of the book in a data folder.
func BookPath(data string) string { return filepath.Join(data, bookFile) }

// Serve is the daemon: it owns the book, listens for people, programs and machines, and
// reminds. It calls ready with the address it listens on, ends gracefully when ctx does,
// and is the one place where journal, book, channels and listeners meet.
func Serve(ctx context.Context, s Settings, ready func(addr string)) (err error) {
	k, err := open(s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, k.book.Close()) }()
	if k.book.readOnly {
		return fmt.Errorf("serve %s: %w", s.Data, errReadOnly)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()

	servers, addr, err := k.prepare()
	if err != nil {
		return err
	}
	var parts sync.WaitGroup
	failed := make(chan error, len(servers)+len(k.brokers)+len(k.repliers))
	for _, work := range k.work(servers) {
		parts.Go(func() {
			if err := work(ctx); err != nil {
				failed <- err
			}
		})
	}
	k.log.Info("serving", "address", addr, "data", s.Data)
	ready(addr)
	// Outside a service manager there is nobody to tell, which is no error.
	_, _ = systemd.SdNotify(false, systemd.SdNotifyReady)

	select {
	case <-ctx.Done():
	case err = <-failed:
	}
	_, _ = systemd.SdNotify(false, systemd.SdNotifyStopping)
	k.shutdown(servers)
	cancel()
	parts.Wait()
	err = errors.Join(err, k.keepSensors())
	k.log.Info("stopped")
	return err
}

// prepare makes what the daemon works with, and takes its addresses.
func (k *Keeper) prepare() (servers []server, addr string, err error) {
	if len(k.pushChannels()) > 0 {
		if _, err := k.phones.Keys(); err != nil { // made now, since a GET changes nothing
			return nil, "", err
		}
	}
	k.brokers = k.listeners()
	if servers, addr, err = k.listen(); err != nil {
		return nil, "", err
	}
	k.carryLinks(addr)
	k.repliers = k.repliersOf()
	return servers, addr, nil
}

// work is all that the daemon does at once, each until its context ends. An error ends it all.
func (k *Keeper) work(servers []server) (all []func(context.Context) error) {
	courier := notify.NewCourier(k.carrier, k.channels)
	beat := newBeat(k, courier)
	all = append(all,
		func(ctx context.Context) error { courier.Run(ctx); return nil },
		func(ctx context.Context) error { beat.Run(ctx); return nil })
	if k.heartbeat = newHeartbeat(k.settings.Config.Heartbeat, k.isAlive(beat), k.clock, k.log); k.heartbeat != nil {
		all = append(all, func(ctx context.Context) error { k.heartbeat.run(ctx); return nil })
	}
	for _, l := range k.brokers {
		all = append(all, l.run)
	}
	for _, l := range k.repliers {
		all = append(all, l.run)
	}
	for _, srv := range servers {
		all = append(all, func(context.Context) error { return srv.serve() })
	}
	return all
}

// open opens the book of a data folder with everything that belongs to it; for reading
// alone where the folder cannot be written.
func open(s Settings) (*Keeper, error) {
	if err := os.MkdirAll(s.Data, 0o700); err != nil {
		return nil, fmt.Errorf("make the data folder: %w", err)
	}
	b, err := OpenBook(BookPath(s.Data), rulesOf(s.Config))
	if errors.Is(err, fs.ErrPermission) || isReadOnly(err) {
		var missing error
		if b, missing = OpenBookReadOnly(BookPath(s.Data), rulesOf(s.Config)); !errors.Is(missing, fs.ErrNotExist) {
			err = missing
		}
	}
	if err != nil {
		return nil, err
	}
	k, err := newKeeper(s, b)
	if err != nil {
		return nil, errors.Join(err, b.Close())
	}
	return k, nil
}

func (k *Keeper) listeners() (all []*listener) {
	for _, src := range k.settings.Config.Sources {
		if src.Type == "mqtt" {
			all = append(all, newListener(src, k.settings.Config.Timezone, k.sensors[src.Pump], k.clock, k.log))
		}
	}
	return all
}

// A server is one listener with what answers on it.
type server struct {
	http *http.Server
	on   net.Listener
	mute *sync.Map // the connections that have said nothing yet
}

func serverOn(l net.Listener, h http.Handler) server {
	s := server{newServer(h), l, &sync.Map{}}
	s.http.ConnState = func(c net.Conn, state http.ConnState) {
		if state == http.StateNew {
			s.mute.Store(c, true)
		} else {
			s.mute.Delete(c)
		}
	}
	return s
}

func (s server) serve() error {
	if err := s.http.Serve(s.on); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("serve on %s: %w", s.on.Addr(), err)
	}
	return nil
}

// shutdown lets requests under way end, and cuts those that do not.
func (k *Keeper) shutdown(servers []server) {
	ctx, cancel := context.WithTimeout(context.Background(), stopWithin)
	defer cancel()
	var all sync.WaitGroup
	for _, s := range servers {
		all.Go(func() {
			s.mute.Range(func(c, _ any) bool { // else they are waited for as if they were about to ask
				_ = c.(net.Conn).Close()
				return true
			})
			if s.http.Shutdown(ctx) != nil {
				k.log.Warn("requests cut", "address", s.on.Addr(), "after", stopWithin)
				_ = s.http.Close()
			}
		})
	}
	all.Wait()
}

// listen opens the page's address and the commands' socket.
func (k *Keeper) listen() (servers []server, addr string, err error) {
	page, err := k.pageHandler()
	if err != nil {
		return nil, "", err
	}
	tcp, err := net.Listen("tcp", k.settings.Config.Listen)
	if err != nil {
		return nil, "", fmt.Errorf("open the page's address: %w", err)
	}
	k.addr = tcp.Addr().String()
	unix, err := listenUnix(filepath.Join(k.settings.Data, socketFile))
	if err != nil {
		return nil, "", errors.Join(err, tcp.Close())
	}
	local := serverOn(unix, k.socketHandler())
	local.http.ReadTimeout, local.http.WriteTimeout = time.Hour, time.Hour // a large book on a small board takes its time
	return []server{serverOn(tcp, page), local}, tcp.Addr().String(), nil
}

// newServer bounds every wait: a slow or silent client costs a connection for a while and
// nobody else anything.
func newServer(h http.Handler) *http.Server {
	return &http.Server{
		Handler: h, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: time.Minute, WriteTimeout: 2 * time.Minute,
		IdleTimeout: time.Minute, MaxHeaderBytes: 16 << 10,
	}
}

// listenUnix opens the socket, for its owner alone. The book's lock is held, so a socket
// that is already there is left over from a daemon that died.
func listenUnix(path string) (net.Listener, error) {
	if most := maxSocketPath; len(path) > most {
		return nil, fmt.Errorf("the path of the socket is too long: %s has %d bytes, at most %d: name a shorter data folder, or one that is a link to it", path, len(path), most)
	}
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("remove the old socket: %w", err)
	}
	l, err := privately(func() (net.Listener, error) { return net.Listen("unix", path) })
	if err != nil {
		return nil, fmt.Errorf("open the socket: %w", err)
	}
	return l, nil
}

func (k *Keeper) pageHandler() (http.Handler, error) {
	mux := http.NewServeMux()
	k.api(mux)
	var err error
	if k.signer, err = signerIn(k.settings.Data); err != nil {
		return nil, err
	}
	if k.pages, err = web.New(desk{k}, desk{k}, k.log); err != nil {
		return nil, fmt.Errorf("read the page's templates: %w", err)
	}
	k.pages.Routes(mux)
	token := ""
	if !loopbackOnly(k.settings.Config.Listen) {
		if token, err = tokenIn(k.settings.Data); err != nil {
			return nil, err
		}
	}
	return newGuard(k.settings.Config, token, k.doorFor(), orProblem(mux)), nil
}

func (k *Keeper) socketHandler() http.Handler {
	mux := http.NewServeMux()
	k.api(mux)
	k.control(mux)
	return orProblem(mux)
}

// Restore verifies a backup and puts it into a data folder that holds no entries.
func Restore(ctx context.Context, from, data string) (VerifyView, error) {
	if err := os.MkdirAll(data, 0o700); err != nil {
		return VerifyView{}, fmt.Errorf("make the data folder: %w", err)
	}
	report, err := journal.Restore(ctx, from, BookPath(data))
	if err != nil {
		return VerifyView{}, err
	}
	return VerifyView{OK: true, Entries: report.Seq, Head: report.Hash, Voids: report.Voids, Notices: report.Notices}, nil
}
