package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"go.uber.org/zap"

	"sweepd/agent"
	"sweepd/collectors"
	"sweepd/console"
	"sweepd/exporter"
	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store"
	"sweepd/store/journal"
	"sweepd/store/sqlite"
	"sweepd/testday"
)

// runAgent builds the parts, runs them until the context ends or one of them
// fails, and takes them down in the opposite order.
func (a *app) runAgent(ctx context.Context, c config, listen func(config) ([]net.Listener, error)) (err error) {
	if err := console.CheckWebConfig(c.WebConfigFile); err != nil {
		return err
	}
	log := newLogger(a.err)
	defer log.Sync() //nolint:errcheck // nobody is left to hear of it
	down := func(what string, f func() error) {
		if e := f(); e != nil {
			err = errors.Join(err, fmt.Errorf("%s: %w", what, e))
		}
	}
	dir := a.dataDir(c)
	lock, err := sqlite.LockAgent(dir)
	if err != nil {
		return err
	}
	defer down("give back the lock", lock.Release)
	listeners, err := listen(c)
	if err != nil {
		return err
	}
	defer closeListeners(listeners)
	data, err := sqlite.Open(dir, sqlite.Options{Damaged: func(what string) {
		log.Error("stored data is damaged and left out; sweepd check tells what is whole", zap.String("what", what))
	}})
	if err != nil {
		return err
	}
	defer down("close the data", data.Close)
	device, warning, err := deviceName(ctx, c, data)
	if err != nil {
		return err
	}
	if warning != "" {
		log.Warn(warning)
	}
	kept, left, closeJournal := openJournal(dir, log)
	defer down("close the journal", closeJournal)
	set := openMachine(log)
	defer down("close the sensors", set.Close)
	s := a.openSetter(c, dir, set, log)
	defer down("put back what was set", s.close)
	w, err := newWatcher(device, c, set, s, data, kept, left, log)
	if err != nil {
		return err
	}
	w.openData(dir)
	if w.token, err = console.NewToken(dir); err != nil {
		log.Error("nobody can correct, import or merge through this agent", zap.Error(err))
	} else {
		defer w.token.Remove() //nolint:errcheck // it means nothing any more
	}
	w.holder = holderOf(dir, w.token.Path())
	if w.paired, err = console.OpenPaired(dir); err != nil {
		log.Error("nobody can look from a phone", zap.Error(err))
	}
	if c.TLSSelf {
		if w.certificate, err = console.OwnCertificate(dir, c.Hosts, time.Now()); err != nil {
			return err
		}
	}
	log.Info("watching", zap.String("device", device), zap.String("data", data.Path()),
		zap.String("address", strings.Join(console.Addresses(listeners), ", ")), zap.Int("sensors", len(set.Sensors())), zap.String("version", currentVersion()))
	err = w.serve(ctx, c, listeners, newSupervision(a.tell, w.sampler.Alive, log))
	log.Info("stopped")
	return err
}

// openJournal opens the journal beside the data. Without one the agent goes on: it is for
// when everything else fails.
func openJournal(dir string, log *zap.Logger) (agent.Journal, []run.Ended, func() error) {
	j, left, torn, err := journal.Open(dir)
	if err != nil {
		log.Error("runs that end and cannot be stored are kept in memory only", zap.Error(err))
		return nil, nil, func() error { return nil }
	}
	if torn > 0 {
		log.Error("entries of the journal are torn or damaged: what they said is lost", zap.String("journal", j.Path()), zap.Int("entries", torn))
	}
	return j, left, j.Close
}

func closeListeners(ls []net.Listener) {
	for _, l := range ls {
		_ = l.Close() // a second time where the server has
	}
}

// watcher is the running agent, its metrics, and the comparisons that every run sets
// off that ends or is corrected.
type watcher struct {
	sampler *agent.Agent
	setter  *setter
	set     *collectors.Set
	data    store.Store
	metrics *exporter.Metrics
	log     *zap.Logger
	open    func(readOnly bool) (console.Data, error) // the data, for one request
	token   console.Token
	holder  testday.Holder

	thresholds  testday.Thresholds
	paired      *console.Paired
	certificate *tls.Config // that the device made itself; nil for none

	background context.Context // ends when runs are of no interest any more
	stop       context.CancelFunc
	following  sync.WaitGroup
}

func newWatcher(device string, c config, set *collectors.Set, s *setter, data store.Store, kept agent.Journal, left []run.Ended, log *zap.Logger) (*watcher, error) {
	w := &watcher{set: set, setter: s, data: data, log: log, thresholds: c.Thresholds.forJudge()}
	w.background, w.stop = context.WithCancel(context.Background())
	roots := collectors.HostRoots()
	declared, err := data.Declaration(w.background, device)
	if err != nil {
		return nil, err
	}
	w.sampler, err = agent.New(agent.Options{
		Device:   device,
		Sensors:  set,
		Recorder: data,
		History:  data,
		Journal:  kept,
		Left:     left,
		Declared: declared,
		EarlierStarts: func(ctx context.Context, c run.Cell) ([]run.Record, error) {
			return testday.EarlierStarts(ctx, data, c)
		},
		Interval:    c.Interval.Duration,
		Thresholds:  w.thresholds,
		ReadSetting: newSettingCommand(c.SettingCommand),
		Facts: func() map[string]string {
			facts := collectors.ReadFacts(roots)
			facts["agent_version"] = currentVersion()
			return facts
		},
		MachineStarted: collectors.MachineStarted(roots),
		Guard:          s.guards,
		Log:            log,
	})
	if err != nil {
		return nil, err
	}
	w.metrics = exporter.New(w.sampler, set.Health, build())
	return w, nil
}

// openData says where the data is that requests are about.
func (w *watcher) openData(dir string) {
	left, _ := filepath.Glob(filepath.Join(dir, testday.Incoming+"*"))
	for _, path := range left { // what a crash left of files that were taken over
		_ = testday.RemoveIncoming(path)
	}
	w.open = func(readOnly bool) (console.Data, error) { return sqlite.Open(dir, sqlite.Options{ReadOnly: readOnly}) }
}

// onEvent compares a run that ended or was corrected with its like.
func (w *watcher) onEvent(e run.Event) {
	if e.Kind == run.RunEnded && e.Run.State != run.Interrupted || e.Kind == run.RunCorrected {
		w.compare(e.Run)
	}
}

// compare brings what is said about the runs of a workload up to date: the effect
// of the supply, and which runs differ from their repeats.
func (w *watcher) compare(r run.Run) {
	if err := testday.MarkUnlike(w.background, w.data, r, w.thresholds, time.Now()); err != nil && w.background.Err() == nil {
		w.log.Error("runs could not be compared with their repeats", zap.Error(err))
	}
	if err := w.metrics.CompareSupplies(w.background, w.data, r, w.log); err != nil && w.background.Err() == nil {
		w.log.Error("runs could not be compared by supply", zap.Error(err))
	}
}

// openMachine opens every source that this system has.
func openMachine(log *zap.Logger) *collectors.Set {
	return collectors.NewSet(collectors.SetOptions{
		OnError: func(collector string, s run.Sensor, err error) {
			log.Warn("reading missing", zap.String("collector", collector), zap.String("sensor", s.ID), zap.String("instance", s.Instance), zap.Error(err))
		},
	}, machine(collectors.HostRoots())...)
}

var _ schedule.Sweeper = (*agent.Agent)(nil)
