package simdevice

// UnitOak is an invented handheld that wins at high watts: it ignores settings
// below 7 W and goes on scaling up to 54 W.
func UnitOak() Config {
	return Config{
		Name: "unit-oak", Seed: 1,
		FloorW: 7, CapW: 54, MinW: 4, MaxW: 60,
		OverheadW: 4.6, OverheadSlope: 1.15,
		Batteries: []BatteryConfig{{FullWh: 48.6, QuantumWh: 0.01}},
		Curves: map[string]Curve{
			harbourFlight: {Peak: 100, StartW: 2, ScaleW: 11},
			tileSort:      {Peak: 40, StartW: 1.5, ScaleW: 14},
		},
		DriftCV: 0.003,
	}
}

// UnitElm is an invented handheld that wins at low watts: it obeys settings
// down to 3.5 W, but nothing above 40 W helps it, and on battery it loses up to
// 5 % from 18 to 30 W of package power. Its curve of harbour-flight crosses that
// of [UnitOak] near 15 W.
func UnitElm() Config {
	return Config{
		Name: "unit-elm", Seed: 2,
		FloorW: 3.5, CapW: 40, MinW: 3, MaxW: 54,
		IdleW: 1.2, LeakW: 0.4, MaxDynamicW: 46, MaxHz: 3.4e9,
		OverheadW: 3.8, OverheadSlope: 1.12, CPUs: 6,
		HeatCapacity: 48, PassiveWK: 0.5, FanWK: 0.7,
		Batteries: []BatteryConfig{{FullWh: 40.2, QuantumWh: 0.001}},
		Curves: map[string]Curve{
			harbourFlight: {Peak: 84, StartW: 1.2, ScaleW: 8},
			tileSort:      {Peak: 33, StartW: 1, ScaleW: 10},
		},
		BatteryLoss: BatteryLoss{Ratio: 0.05, FromW: 18, FullW: 30},
		DriftCV:     0.003,
	}
}
