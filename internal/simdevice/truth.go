package simdevice

import "time"

// Truth is what the model knows exactly at one moment. Energies count from the
// start of the device, so the mean of a power over any interval is the
// difference of two truths (see [Between]).
type Truth struct {
	Time time.Time

	// Energies since the start, J.
	PackageJ      float64
	LeakageJ      float64 // part of PackageJ
	CPUJ, GPUJ    float64 // parts of PackageJ; with leakage they make the whole
	SystemJ       float64
	MainsJ        float64 // taken from the charger
	ChargeLossJ   float64 // part of MainsJ that became heat in charging
	DischargedJ   float64 // that left the batteries
	ChargedJ      float64 // that entered the batteries
	BatteryNetJ   float64 // DischargedJ - ChargedJ
	ContentJ      float64 // now in the present batteries
	FullJ         float64 // that they could hold
	ChargeRatio   float64 // ContentJ / FullJ; 0 without a battery
	PackageW      float64 // now, as everything below
	SystemW       float64
	MainsW        float64
	DischargeW    float64 // what leaves the batteries: negative while charging
	SettingW      float64 // as set
	DieC          float64 // degrees Celsius
	FanRPM        float64
	BusyRatio     float64 // mean of the online CPUs
	Throttling    bool
	ThrottleCount uint64
	OnMains       bool // a charger is plugged in, whatever it delivers
	Off           bool // the battery ran empty
}

// Means are the true means between two truths.
type Means struct {
	Seconds    float64
	PackageW   float64
	SystemW    float64
	DischargeW float64 // positive while discharging, at the batteries' terminals
	MainsW     float64
}

// Between returns the means from a to b. It is zero when no time lies between.
func Between(a, b Truth) Means {
	s := b.Time.Sub(a.Time).Seconds()
	if s <= 0 {
		return Means{}
	}
	return Means{
		Seconds:    s,
		PackageW:   (b.PackageJ - a.PackageJ) / s,
		SystemW:    (b.SystemJ - a.SystemJ) / s,
		DischargeW: (b.BatteryNetJ - a.BatteryNetJ) / s,
		MainsW:     (b.MainsJ - a.MainsJ) / s,
	}
}

// Truth returns what is true now.
func (d *Device) Truth() Truth {
	d.mu.Lock()
	defer d.mu.Unlock()
	m := d.model
	t := Truth{
		Time:     d.nowLocked(),
		PackageJ: m.packageJ, LeakageJ: m.leakJ, CPUJ: m.cpuJ, GPUJ: m.gpuJ,
		SystemJ: m.systemJ, MainsJ: m.mainsJ, ChargeLossJ: m.lossJ,
		PackageW: m.packageW, SystemW: m.systemW, MainsW: m.supply.mainsW,
		SettingW: m.limit.settingW,
		DieC:     m.dieC(), FanRPM: m.fanRPM(), BusyRatio: m.busy,
		Throttling: m.hot.active, ThrottleCount: m.hot.events,
		OnMains: m.supply.plugged, Off: m.supply.off,
	}
	for _, b := range m.packs {
		t.DischargedJ += b.outJ
		t.ChargedJ += b.inJ
		if b.present {
			t.DischargeW += b.powerW
			t.ContentJ += b.contentJ
			t.FullJ += b.fullJ
		}
	}
	t.BatteryNetJ = t.DischargedJ - t.ChargedJ
	if t.FullJ > 0 {
		t.ChargeRatio = t.ContentJ / t.FullJ
	}
	return t
}
