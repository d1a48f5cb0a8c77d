package judge

import (
	"math"
	"strings"

	"sweepd/run"
)

// anotherSetting is what the evidence of setting_disagrees says where the setting that the
// system reported is another one of the campaign.
const anotherSetting = ", another setting of the same campaign"

// Misdeclared is the finding that a run's declared setting was not the one that the system
// reported, as it is among the settings of its campaign: at these the device ran the same
// workload. Where the system reported another of them, the run belongs to neither and is
// rejected; else it is doubted. So is a run that ended while the system's reports were
// settling: they may have been late. It is not ok for a run without that finding.
func Misdeclared(r *run.Run, campaign []run.Setting, th Thresholds) (f run.Finding, ok bool) {
	for _, f := range r.Findings {
		if f.Code != run.SettingDisagrees {
			continue
		}
		f.Text, f.Severity = strings.TrimSuffix(f.Text, anotherSetting), run.SeverityDoubt
		th := th.withDefaults()
		settled := r.DurationS == nil || *r.DurationS > th.Settle.Seconds()
		if settled && r.SettingRead != nil && isAnother(r.Setting.Setting, r.SettingRead.Setting, campaign, th) {
			f.Text, f.Severity = f.Text+anotherSetting, run.SeverityReject
		}
		return f, true
	}
	return run.Finding{}, false
}

// isAnother tells whether the setting that was read is one of the campaign, and not the
// declared one: in watts the nearest, within the tolerance by which settings disagree.
func isAnother(declared, read run.Setting, campaign []run.Setting, th Thresholds) bool {
	nearest, distance := declared, math.Inf(1)
	r, inWatts := read.Watts()
	for _, s := range campaign {
		w, ok := s.Watts()
		switch {
		case !inWatts && s == read:
			return s != declared
		case inWatts && ok && math.Abs(w-r) < distance:
			nearest, distance = s, math.Abs(w-r)
		}
	}
	return nearest != declared && distance <= settingTolerance(r, th)
}
