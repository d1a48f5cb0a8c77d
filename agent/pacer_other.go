//go:build !linux

package agent

import "time"

// tickerPacer paces with time.Ticker.
type tickerPacer struct {
	ticker *time.Ticker
	wake   chan struct{}
}

func newPacer() (pacer, error) {
	t := time.NewTicker(time.Hour)
	t.Stop()
	return &tickerPacer{ticker: t, wake: make(chan struct{}, 1)}, nil
}

func (p *tickerPacer) Arm(interval time.Duration) error {
	if interval == 0 {
		p.ticker.Stop()
	} else {
		p.ticker.Reset(interval)
	}
	return nil
}

func (p *tickerPacer) Wait() (bool, error) {
	select {
	case <-p.ticker.C:
		return true, nil
	case <-p.wake:
		return false, nil
	}
}

func (p *tickerPacer) Wake() {
	select {
	case p.wake <- struct{}{}:
	default:
	}
}

func (p *tickerPacer) Close() error { p.ticker.Stop(); return nil }
