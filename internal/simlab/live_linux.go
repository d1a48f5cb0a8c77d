package simlab

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"sync"
	"time"

	"sweepd/internal/simdevice"
)

// Hand is what somebody does to a live device. One field is set.
type Hand struct {
	Watts   float64 `json:"watts,omitempty"`   // set this limit
	Profile string  `json:"profile,omitempty"` // choose this platform profile
	Supply  string  `json:"supply,omitempty"`  // "mains": plug in, "battery": unplug
	CPUs    int     `json:"cpus,omitempty"`    // leave so many online
	HeatC   float64 `json:"heat,omitempty"`    // bring the die to this temperature, °C
	Revert  bool    `json:"revert,omitempty"`  // have the firmware put its own limit back
	Play    string  `json:"play,omitempty"`    // play this workload
	Seconds float64 `json:"seconds,omitempty"` // for so long
}

// Felt is what comes of it.
type Felt struct {
	Error  string  `json:"error,omitempty"`
	Metric string  `json:"metric,omitempty"` // of a workload that was played
	Value  float64 `json:"value,omitempty"`
	Unit   string  `json:"unit,omitempty"`

	Device string  `json:"device"`
	LimitW float64 `json:"limit_watts"` // in force now, W
	DieC   float64 `json:"die_celsius"` // the processor's temperature now, °C
	Mains  bool    `json:"mains"`       // it is plugged in
	Charge float64 `json:"charge"`      // of its battery, 0 to 1
}

// Live is a simulated device in real time, which others work by a socket in its
// folder.
type Live struct {
	Device   *simdevice.Device
	listener net.Listener
	playing  sync.Mutex
}

// SocketName is the name of the socket in the folder of a live device.
const SocketName = "device.sock"

// socketPath is where the socket is: by way of the open folder, for the path of a
// socket may have 107 bytes at most (unix(7)).
func socketPath(dir *os.File) string {
	return filepath.Join("/proc/self/fd", fmt.Sprint(dir.Fd()), SocketName)
}

// Listen opens the socket of a live device in a folder.
func Listen(folder string, device *simdevice.Device) (*Live, error) {
	dir, err := os.Open(folder)
	if err != nil {
		return nil, err
	}
	defer dir.Close()
	if conn, err := net.Dial("unix", socketPath(dir)); err == nil {
		conn.Close()
		return nil, fmt.Errorf("a simulated device lives in %s already: work it, or end it first", folder)
	}
	if err := os.Remove(socketPath(dir)); err != nil && !errors.Is(err, os.ErrNotExist) { // one was killed
		return nil, err
	}
	l, err := net.Listen("unix", socketPath(dir))
	if err != nil {
		return nil, fmt.Errorf("open the socket of the simulated device in %s: %w", folder, err)
	}
	l.(*net.UnixListener).SetUnlinkOnClose(false) // its path is gone with the folder's descriptor
	return &Live{Device: device, listener: l}, nil
}

// Close frees the socket, where Run was never called too.
func (l *Live) Close() error { return l.listener.Close() }

// Run lets the device live and answers until the context ends.
func (l *Live) Run(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer context.AfterFunc(ctx, func() { l.listener.Close() })()
	lived := make(chan error, 1)
	go func() {
		lived <- l.Device.AdvanceWithClock(ctx, 20*time.Millisecond, time.Now)
		cancel()
	}()
	var hands sync.WaitGroup
	for {
		conn, err := l.listener.Accept()
		if err != nil {
			break
		}
		hands.Go(func() {
			defer conn.Close()
			defer context.AfterFunc(ctx, func() { conn.Close() })()
			l.answer(ctx, conn)
		})
	}
	cancel()
	hands.Wait()
	return <-lived
}

func (l *Live) answer(ctx context.Context, conn net.Conn) {
	var h Hand
	if err := json.NewDecoder(conn).Decode(&h); err != nil {
		return // whoever asked is gone, or is no hand
	}
	felt, err := l.Feel(ctx, conn, h)
	if err != nil {
		felt.Error = err.Error()
	}
	now := l.Device.Truth()
	felt.Device, felt.LimitW, felt.DieC, felt.Mains, felt.Charge = l.Device.Config().Name, now.SettingW, now.DieC, now.OnMains, now.ChargeRatio
	_ = json.NewEncoder(conn).Encode(felt) // whoever asked may be gone
}

// Feel does what a hand does. A workload ends early with the context, or when the
// other end of conn goes; conn may be nil.
func (l *Live) Feel(ctx context.Context, conn net.Conn, h Hand) (f Felt, err error) {
	defer func() { err = errors.Join(err, l.Device.Flush()) }() // its files show it at once
	switch {
	case h.Watts > 0:
		if c := l.Device.Config(); h.Watts < c.MinW || h.Watts > c.MaxW {
			return f, fmt.Errorf("the firmware of %s takes %g W to %g W", c.Name, c.MinW, c.MaxW)
		}
		l.Device.SetLimit(h.Watts)
	case h.Profile != "":
		return f, l.Device.SetProfile(h.Profile)
	case h.Supply == "mains":
		l.Device.Plug()
	case h.Supply == "battery":
		l.Device.Unplug()
	case h.CPUs > 0:
		return f, l.Device.SetCPUsOnline(h.CPUs)
	case h.HeatC > 0:
		l.Device.HeatTo(h.HeatC)
	case h.Revert:
		l.Device.RevertLimit()
	case h.Play != "":
		return l.play(ctx, conn, h)
	default:
		return f, errors.New("nothing to do")
	}
	return f, nil
}

func (l *Live) play(ctx context.Context, conn net.Conn, h Hand) (f Felt, err error) {
	w, err := Workload(h.Play)
	if err != nil {
		return f, err
	}
	if !l.playing.TryLock() {
		return f, errors.New("the simulated device is playing a workload already")
	}
	defer l.playing.Unlock()
	l.Device.StartWorkload(w)
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	if conn != nil {
		go func() {
			_, _ = conn.Read(make([]byte, 1)) // it ends with the connection
			cancel()
		}()
	}
	l.untilDone(ctx, w, h.Seconds)
	played, ok := l.Device.StopWorkload()
	if ctx.Err() != nil || !ok || !(played.MeanRate > 0) {
		return f, errors.New("the workload was ended before it had a result")
	}
	return Felt{Metric: played.Metric, Value: played.Value, Unit: played.Unit}, nil
}

// untilDone waits until a workload has done its work, or, where it is one without end,
// has played for some seconds.
func (l *Live) untilDone(ctx context.Context, w simdevice.Workload, seconds float64) {
	look := time.NewTicker(10 * time.Millisecond)
	defer look.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-look.C:
		}
		played, ok := l.Device.Score()
		lasted := played.Duration.Seconds()
		if !ok || w.LowerIsBetter && played.MeanRate*lasted >= w.Work || !w.LowerIsBetter && lasted >= seconds {
			return
		}
	}
}

// liveSort is the work of tile-sort where somebody waits for it: some 20 s at 15 W.
const liveSort = 500

// Workload is a workload of the demonstration by its name.
func Workload(name string) (simdevice.Workload, error) {
	for _, w := range []simdevice.Workload{simdevice.HarbourFlight(), simdevice.TileSort()} {
		if w.Name == name {
			w.Work = liveSort
			return w, nil
		}
	}
	return simdevice.Workload{}, fmt.Errorf("the simulated device has no workload %q: it has harbour-flight and tile-sort", name)
}

// ErrNoLive is returned where no live device is in a folder.
var ErrNoLive = errors.New("no simulated device lives there")

// Work does something to the live device in a folder and waits for what comes of it.
func Work(ctx context.Context, folder string, h Hand) (f Felt, err error) {
	dir, err := os.Open(folder)
	if err != nil {
		return f, fmt.Errorf("%w: %w", ErrNoLive, err)
	}
	defer dir.Close()
	conn, err := (&net.Dialer{}).DialContext(ctx, "unix", socketPath(dir))
	if err != nil {
		return f, fmt.Errorf("%w: %w", ErrNoLive, err)
	}
	defer conn.Close()
	defer context.AfterFunc(ctx, func() { conn.Close() })()
	if err := json.NewEncoder(conn).Encode(h); err != nil {
		return f, err
	}
	if err := json.NewDecoder(conn).Decode(&f); err != nil {
		if ctx.Err() != nil {
			return f, ctx.Err()
		}
		return f, fmt.Errorf("the simulated device went away: %w", err)
	}
	if f.Error != "" {
		return f, errors.New(f.Error)
	}
	return f, nil
}
